package template_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/plane"
	"quietmount/report/pdf"
	"quietmount/report/template"
	"quietmount/survey"
	"quietmount/survey/craftfile"
)

// The craft is invented: 400 by 300 mm, a grid, a keep-out, a lead, a base.
const head = `name = %q
[site]
latitude_deg = 53.3
longitude_deg = -9.1
altitude_m = 2
date = "2026-06-01"
[module]
name = "puck"
mass_g = 24
footprint_mm = [38, 38]
sensor_height_mm = 6
[craft]
outline_mm = [[200, -150], [200, 150], [-200, 150], [-200, -150]]
surface_z_mm = -20
[base]
name = "T"
at_mm = [100, 600, -20]
[[keepout]]
name = "hatch"
outline_mm = [[120, -50], [120, 50], [20, 50], [20, -50]]
[[part]]
name = "battery"
at_mm = [60, -30, 40]
mass_g = 430
[[part]]
name = "hatch magnet"
at_mm = [150, 90, -10]
mass_g = 1
magnetic = true
[cable]
from_mm = [0, 0]
`

const grid = "[grid]\nspacing_mm = 60\norigin_mm = [0, 0]\n"

func craft(t *testing.T, name, rest string) *survey.Craft {
	t.Helper()
	c, err := craftfile.Parse([]byte(fmt.Sprintf(head, name)+rest), "craft.toml")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func date() time.Time { return time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC) }

// file writes a template and returns its path.
func file(t *testing.T, c *survey.Craft, o template.Options) string {
	t.Helper()
	o.Date = date()
	var b bytes.Buffer
	if err := template.Write(&b, c, o); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "template.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return name
}

func poppler(t *testing.T, tool string, args ...string) []byte {
	t.Helper()
	if _, err := exec.LookPath(tool); err != nil {
		t.Skipf("%s (of poppler) is not installed: pages are not read back", tool)
	}
	out, err := exec.CommandContext(t.Context(), tool, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v", tool, err)
	}
	return out
}

const dpi = 150

// render returns a page, counted from 1, in grey.
func render(t *testing.T, pdf string, page int) image.Image {
	t.Helper()
	n := fmt.Sprint(page)
	img, err := png.Decode(bytes.NewReader(poppler(t, "pdftoppm", "-r", fmt.Sprint(dpi), "-gray", "-png", "-f", n, "-l", n, pdf)))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

func pixels(mm float64) int { return int(math.Round(mm * dpi / 25.4)) }

func millimetres(px float64) float64 { return px * 25.4 / dpi }

func dark(img image.Image, x, y int) bool {
	r, _, _, _ := img.At(x, y).RGBA()
	return r < 0xa000
}

// word is a printed word and its page, from 1; millimetres.
type word struct {
	page           int
	text           string
	x0, y0, x1, y1 float64
}

// printed returns the words of the file in reading order.
func printed(t *testing.T, pdf string) []word {
	t.Helper()
	var doc struct {
		Pages []struct {
			Words []struct {
				X0   float64 `xml:"xMin,attr"`
				Y0   float64 `xml:"yMin,attr"`
				X1   float64 `xml:"xMax,attr"`
				Y1   float64 `xml:"yMax,attr"`
				Text string  `xml:",chardata"`
			} `xml:"word"`
		} `xml:"body>doc>page"`
	}
	d := xml.NewDecoder(bytes.NewReader(poppler(t, "pdftotext", "-bbox", pdf, "-")))
	d.Strict = false
	d.Entity = xml.HTMLEntity
	if err := d.Decode(&doc); err != nil {
		t.Fatal(err)
	}
	const k = 25.4 / 72
	var out []word
	for i, p := range doc.Pages {
		for _, w := range p.Words {
			out = append(out, word{i + 1, w.Text, w.X0 * k, w.Y0 * k, w.X1 * k, w.Y1 * k})
		}
	}
	return out
}

// ruler measures the longest horizontal line in the lowest part of a page, between
// its outer ticks.
func ruler(img image.Image) float64 {
	b := img.Bounds()
	best := 0
	for y := b.Max.Y - pixels(31); y < b.Max.Y; y++ {
		run := 0
		for x := range b.Max.X {
			if dark(img, x, y) {
				run++
				continue
			}
			best, run = max(best, run), 0
		}
	}
	return millimetres(float64(best))
}

// The printed ruler is 100 mm to 0.3 mm on every page, on either paper.
func TestRulerIsTrue(t *testing.T) {
	for _, paper := range []pdf.Paper{pdf.A4(), pdf.Letter()} {
		c := craft(t, "Test", grid)
		data := file(t, c, template.Options{Side: template.Top, Paper: paper})
		l, err := template.Lay(c, template.Top, paper)
		if err != nil {
			t.Fatal(err)
		}
		pages := 1 + l.Rows*l.Columns
		if testing.Short() {
			pages = 2
		}
		for page := 1; page <= pages; page++ {
			img := render(t, data, page)
			if got := millimetres(float64(img.Bounds().Dx())); math.Abs(got-paper.Width) > 0.2 {
				t.Errorf("%s page %d is %.1f mm wide", paper.Name, page, got)
			}
			// The line's own width and half pixels at its ends add 0.3 mm at most.
			if got := ruler(img); math.Abs(got-100) > 0.3 {
				t.Errorf("%s page %d: the ruler measures %.2f mm", paper.Name, page, got)
			}
		}
	}
}

// crosshair finds a station's cross within 2 mm of a place on the page: the
// darkest row and the darkest column.
func crosshair(img image.Image, near r2.Vec) r2.Vec {
	count := func(line int, level bool) (n int) {
		mid := near.X
		if !level {
			mid = near.Y
		}
		for k := pixels(mid - 8); k < pixels(mid+8); k++ {
			if (level && dark(img, k, line)) || (!level && dark(img, line, k)) {
				n++
			}
		}
		return n
	}
	centre := func(mid float64, level bool) float64 {
		most, sum, n := 0, 0, 0
		for line := pixels(mid - 2); line <= pixels(mid+2); line++ {
			switch k := count(line, level); {
			case k > most:
				most, sum, n = k, line, 1
			case k == most:
				sum, n = sum+line, n+1
			}
		}
		return millimetres(float64(sum)/float64(n) + 0.5)
	}
	return r2.Vec{X: centre(near.X, false), Y: centre(near.Y, true)}
}

// A station in the strip that two pages share coincides when the pages are joined,
// and stations on different pages are as far apart as on the craft.
func TestDistancesAcrossPages(t *testing.T) {
	bare := craft(t, "Test", grid)
	l, err := template.Lay(bare, template.Top, pdf.A4())
	if err != nil {
		t.Fatal(err)
	}
	if l.Columns < 2 {
		t.Fatal("the craft fits on one page across")
	}
	first, second := l.Tile(0, 0), l.Tile(0, 1)
	step := second.Min.X - first.Min.X
	u := second.Min.X + 3.5 // within the shared strip
	seam := fmt.Sprintf("[[station]]\nname = \"seam\"\nat_mm = [167, %.4f, -20]\n", u)
	c := craft(t, "Test", grid+seam)
	pdf := file(t, c, template.Options{Side: template.Top})
	place := func(tile template.Tile, x, y float64) r2.Vec {
		return r2.Add(r2.Sub(r2.Vec{X: y, Y: -x}, tile.Min), r2.Vec{X: 12, Y: 12})
	}
	left, right := render(t, pdf, 2), render(t, pdf, 3)
	a, b := crosshair(left, place(first, 167, u)), crosshair(right, place(second, 167, u))
	if got := a.X - b.X; math.Abs(got-step) > 0.3 || math.Abs(a.Y-b.Y) > 0.3 {
		t.Errorf("the shared station lies %.2f mm further right on page 1, want %.2f; %.2f mm lower", got, step, a.Y-b.Y)
	}
	// A2 stands at y = -120, E2 at y = 120, both at x = 120.
	p, q := crosshair(left, place(first, 120, -120)), crosshair(right, place(second, 120, 120))
	joined := r2.Sub(r2.Add(q, r2.Sub(a, b)), p) // page 2 shifted by what the shared station says
	if math.Abs(joined.X-240) > 0.3 || math.Abs(joined.Y) > 0.3 {
		t.Errorf("stations 240 mm apart lie %.2f mm across and %.2f mm along", joined.X, joined.Y)
	}
}

// Every station is named on one page: once upright, once upside down, and the
// upright names are as far apart as the stations.
func TestStationsArePrintedOnce(t *testing.T) {
	c := craft(t, "Test", grid)
	words := printed(t, file(t, c, template.Options{Side: template.Top}))
	at := map[string]word{}
	for _, s := range c.Stations() {
		var some []word
		for _, w := range words {
			if w.text == s.Name && w.page > 1 {
				some = append(some, w)
			}
		}
		if len(some) != 2 || some[0].page != some[1].page {
			t.Errorf("station %s: printed as %v, want twice on one page", s.Name, some)
			continue
		}
		at[s.Name] = some[0]
		if some[1].x0 > some[0].x0 {
			at[s.Name] = some[1]
		}
	}
	a, b := at["A2"], at["A3"]
	if a.page == b.page && math.Abs(b.y0-a.y0-60) > 0.1 {
		t.Errorf("A2 and A3 are %.2f mm apart", b.y0-a.y0)
	}
}

// The underside is mirrored: column A, the craft's left, is to the right of E, and
// the words LEFT and RIGHT change sides with it. The nose stays up.
func TestUndersideIsMirrored(t *testing.T) {
	c := craft(t, "Test", "[[station]]\nname = \"PORT\"\nat_mm = [40, -50, -20]\n[[station]]\nname = \"STBD\"\nat_mm = [0, 50, -20]\n")
	for _, side := range []template.Side{template.Top, template.Underside} {
		words := printed(t, file(t, c, template.Options{Side: side, OverviewOnly: false}))
		l, err := template.Lay(c, side, pdf.A4())
		if err != nil {
			t.Fatal(err)
		}
		at := func(name string) r2.Vec { // on the joined paper
			for _, w := range words {
				if w.text == name && w.page > 1 {
					n := w.page - 2
					return r2.Add(l.Tile(n/l.Columns, n%l.Columns).Min, r2.Vec{X: w.x0, Y: w.y0})
				}
			}
			t.Fatalf("%s: no word %s", side, name)
			return r2.Vec{}
		}
		first := map[string]float64{}
		for _, w := range words {
			if _, seen := first[w.text]; !seen && w.page == 2 {
				first[w.text] = w.x0
			}
		}
		portLeft, leftLeft := at("PORT").X < at("STBD").X, first["LEFT"] < first["RIGHT"]
		if want := side == template.Top; portLeft != want || leftLeft != want {
			t.Errorf("%s: port is on the left: %v, LEFT is on the left: %v, want %v", side, portLeft, leftLeft, want)
		}
		if at("PORT").Y > at("STBD").Y {
			t.Errorf("%s: what is nearer to the nose lies lower", side)
		}
	}
}

func TestOddCraft(t *testing.T) {
	long := "forty letters and no more is a long name"
	many := "[grid]\nspacing_mm = 20\norigin_mm = [0, 0]\n"
	for _, c := range []struct {
		name, craft, rest string
		stations          int
	}{
		{"one station", "Test", "[[station]]\nname = \"only\"\nat_mm = [0, 0, -20]\n", 1},
		{"300 stations", "Test", many, 315},
		{"long and foreign names", "Möwe " + strings.Repeat("x", 50), "[[station]]\nname = \"" + long + "\"\nat_mm = [0, 0, -20]\n[[station]]\nname = \"磁石の上\"\nat_mm = [30, 0, -20]\n[[station]]\nname = \"корма 🧲\"\nat_mm = [-30, 0, -20]\n", 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := craft(t, c.craft, c.rest)
			if n := len(b.Stations()); n != c.stations {
				t.Fatalf("%d stations, want %d", n, c.stations)
			}
			words := printed(t, file(t, b, template.Options{Side: template.Top, Paper: pdf.Letter()}))
			var text strings.Builder
			for _, w := range words {
				text.WriteString(w.text + " ")
				if w.x0 < 0 || w.y0 < 0 || w.x1 > 215.9 || w.y1 > 279.4 {
					t.Errorf("%q on page %d runs off the paper", w.text, w.page)
				}
			}
			want := "actual size"
			if strings.Contains(c.name, "foreign") {
				want = "корма"
				for _, w := range []string{"Names that had to be cut", "(2)", "stands for a letter"} {
					if !strings.Contains(text.String(), w) {
						t.Errorf("the pages lack %q", w)
					}
				}
			}
			if !strings.Contains(text.String(), want) {
				t.Errorf("the pages lack %q", want)
			}
		})
	}
}

func TestSameBytes(t *testing.T) {
	c := craft(t, "Test", grid)
	var first []byte
	for range 3 {
		var b bytes.Buffer
		if err := template.Write(&b, c, template.Options{Side: template.Underside, Date: date()}); err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b.Bytes()
		} else if !bytes.Equal(first, b.Bytes()) {
			t.Fatal("the same craft gives other bytes")
		}
	}
}

func TestRefused(t *testing.T) {
	c := craft(t, "Test", grid)
	if err := template.Write(new(bytes.Buffer), c, template.Options{Side: "bottom"}); !errors.Is(err, template.ErrSide) {
		t.Errorf("side bottom: %v", err)
	}
	c.Grid, c.Singles = nil, nil
	if err := template.Write(new(bytes.Buffer), c, template.Options{Side: template.Top}); !errors.Is(err, template.ErrNoStations) {
		t.Errorf("no stations: %v", err)
	}
	c = craft(t, "Test", "[[station]]\nname = \"A\"\nat_mm = [0, 0, -20]\n")
	c.Body.OutlineMM = plane.Polygon{{X: 1e6}, {X: 1e6, Y: 1e6}, {Y: 1e6}}
	if err := template.Write(new(bytes.Buffer), c, template.Options{Side: template.Top}); !errors.Is(err, template.ErrTooLarge) {
		t.Errorf("a kilometre: %v", err)
	}
}

// Every place belongs to one tile, which shows it.
func TestOwner(t *testing.T) {
	c := craft(t, "Test", grid)
	for _, side := range []template.Side{template.Top, template.Underside} {
		l, err := template.Lay(c, side, pdf.A4())
		if err != nil {
			t.Fatal(err)
		}
		for x := -200.0; x <= 200; x += 7 {
			for y := -150.0; y <= 150; y += 7 {
				p := l.Paper(r2.Vec{X: x, Y: y})
				tile := l.Tile(l.Owner(p))
				if p.X < tile.Min.X || p.X > tile.Max.X || p.Y < tile.Min.Y || p.Y > tile.Max.Y {
					t.Fatalf("%s: %g, %g is not on page %s, which owns it", side, x, y, tile.Name())
				}
			}
		}
	}
}
