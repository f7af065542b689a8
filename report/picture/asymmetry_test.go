package picture

import (
	"fmt"
	"image"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/report/internal/look"
	"quietmount/survey"
)

// A mirrored or turned picture sends a builder to the wrong side. So each kind of
// picture, in each format, gets one dark place at the front left, and the test
// compares four places of the output.

const hotX, hotY = 110, -150 // mm, front left

// asymmetric are the kinds of picture, each with something dark at the front
// left and nowhere else.
func asymmetric(t *testing.T) map[string]*draw.Picture {
	t.Helper()
	asymmetryOnce.Do(func() { asymmetryPictures = drawAsymmetric(t) })
	return asymmetryPictures
}

// The pictures are drawn once and written in each format.
var (
	asymmetryOnce     sync.Once
	asymmetryPictures map[string]*draw.Picture
)

func drawAsymmetric(t *testing.T) map[string]*draw.Picture {
	t.Helper()
	hill := example.Bump{Middle: r3.Vec{X: hotX, Y: hotY, Z: -5}, Peak: 15, Width: 50, Ground: 0.4, SD: 0.01}
	out := map[string]*draw.Picture{}
	for _, part := range []string{"shifting", "steady", "magnitude", "motor"} {
		c := example.Board(400, 500, 500) // a lone grid station in the middle
		c.Singles = []survey.Station{{Name: "hot", At: r3.Vec{X: hotX, Y: hotY}}, {Name: "b", At: r3.Vec{X: hotX, Y: -hotY}},
			{Name: "c", At: r3.Vec{X: -hotX, Y: hotY}}, {Name: "d", At: r3.Vec{X: -hotX, Y: -hotY}}}
		if part != "magnitude" {
			c.Singles = nil
		}
		p, err := Map(t.Context(), example.Findings(c, hill, hill), nil, MapOptions{Part: part})
		if err != nil {
			t.Fatal(err)
		}
		out[part] = p
	}
	for name, p := range panelPictures(t, example.Findings(example.Board(400, 500, 500), hill, hill), nil) {
		out[name] = p
	}
	c := example.Board(400, 500, 500)
	c.Keepouts = []survey.Keepout{{Name: "", OutlineMM: around(hotX, hotY, 45)}}
	out["description"] = Description(c)
	return out
}

func around(x, y, half float64) plane.Polygon {
	return plane.Polygon{{X: x - half, Y: y - half}, {X: x + half, Y: y - half}, {X: x + half, Y: y + half}, {X: x - half, Y: y + half}}
}

// checkAsymmetry looks for the dark place at the front left and the dark end of
// the bar on top.
func checkAsymmetry(t *testing.T, p *draw.Picture, img image.Image) {
	t.Helper()
	k := float64(img.Bounds().Dx()) / p.Width.Points() // pixels a point
	pixel := func(x, y float64) (int, int) {
		return img.Bounds().Min.X + int(x*k), img.Bounds().Min.Y + int((p.Height.Points()-y)*k)
	}
	shade := func(x, y float64) float64 { // mean darkness around a place on paper
		sum, n := 0.0, 0
		cx, cy := pixel(x, y)
		for dy := -6; dy <= 6; dy++ {
			for dx := -6; dx <= 6; dx++ {
				r, g, b, _ := img.At(cx+dx, cy+dy).RGBA()
				sum += 255 - (0.3*float64(r)+0.6*float64(g)+0.1*float64(b))/257
				n++
			}
		}
		return sum / float64(n)
	}
	at := func(x, y float64) float64 {
		q := p.Frame.At(r2.Vec{X: x, Y: y})
		return shade(q.X.Points(), q.Y.Points())
	}
	hot := at(hotX, hotY)
	for _, other := range [][2]float64{{hotX, -hotY}, {-hotX, hotY}, {-hotX, -hotY}} {
		if cold := at(other[0], other[1]); hot < cold+15 {
			t.Errorf("front left has darkness %.0f, x %.0f y %.0f has %.0f", hot, other[0], other[1], cold)
		}
	}
	if p.Bar.Size().X > 0 {
		middle := (p.Bar.Min.X + p.Bar.Max.X).Points() / 2
		top, bottom := shade(middle, p.Bar.Max.Y.Points()-5), shade(middle, p.Bar.Min.Y.Points()+5)
		if top < bottom+50 {
			t.Errorf("the bar's top has darkness %.0f, its bottom %.0f", top, bottom)
		}
	}
}

// Every PNG is made of the same pixels, so one is looked at as a file and the
// others as pixels of half the resolution.
func TestAsymmetryPNG(t *testing.T) {
	for kind, p := range asymmetric(t) {
		t.Run(kind, func(t *testing.T) {
			keep(t, "asymmetry-"+kind+".png", p)
			if kind == PartShifting {
				checkAsymmetry(t, p, look.Decoded(t, written(t, p, draw.PNG)))
				return
			}
			img, err := p.Pixels(100)
			if err != nil {
				t.Fatal(err)
			}
			checkAsymmetry(t, p, img)
		})
	}
}

func TestAsymmetryPDF(t *testing.T) {
	tool := look.For(t, "pdftoppm")
	for kind, p := range asymmetric(t) {
		t.Run(kind, func(t *testing.T) {
			dir := t.TempDir()
			file := filepath.Join(dir, "a.pdf")
			look.Write(t, file, written(t, p, draw.PDF))
			look.Run(t, tool, "-r", "100", "-png", "-singlefile", file, filepath.Join(dir, "a"))
			checkAsymmetry(t, p, look.Decoded(t, look.Read(t, filepath.Join(dir, "a.png"))))
		})
	}
}

func TestAsymmetrySVG(t *testing.T) {
	tool := look.For(t, "chromium", "chromium-browser", "google-chrome")
	kinds := asymmetric(t)
	names := slices.Sorted(maps.Keys(kinds))
	images := browsed(t, tool, names, kinds)
	for _, kind := range names {
		t.Run(kind, func(t *testing.T) { checkAsymmetry(t, kinds[kind], images[kind]) })
	}
}

// browsed are pictures' SVG as a browser draws them, all in one page, each in
// a box of its own.
func browsed(t *testing.T, browser string, names []string, pictures map[string]*draw.Picture) map[string]image.Image {
	t.Helper()
	const width, height = 900, 1100
	var page strings.Builder
	page.WriteString(`<!doctype html><meta charset="utf-8"><style>*{margin:0}div{height:1100px;overflow:hidden}svg{display:block;width:100vw;height:auto}</style>`)
	for _, n := range names {
		s, err := pictures[n].SVG()
		if err != nil {
			t.Fatal(err)
		}
		page.WriteString("<div>" + s + "</div>")
	}
	dir := t.TempDir()
	file, shot := filepath.Join(dir, "a.html"), filepath.Join(dir, "a.png")
	look.Write(t, file, []byte(page.String()))
	look.Run(t, browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--hide-scrollbars", "--user-data-dir="+filepath.Join(dir, "profile"),
		fmt.Sprintf("--window-size=%d,%d", width, height*len(names)), "--screenshot="+shot, "file://"+file)
	all, ok := look.Decoded(t, look.Read(t, shot)).(interface {
		SubImage(image.Rectangle) image.Image
	})
	if !ok {
		t.Fatal("the screenshot cannot be cut")
	}
	out := map[string]image.Image{}
	for i, n := range names {
		out[n] = all.SubImage(image.Rect(0, i*height, width, (i+1)*height))
	}
	return out
}
