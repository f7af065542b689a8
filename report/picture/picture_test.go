package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/report/internal/look"
	"quietmount/survey"
)

var formats = []draw.Format{draw.PNG, draw.SVG, draw.PDF}

func hillMap(t testing.TB, o MapOptions) *draw.Picture {
	t.Helper()
	c := example.Board(300, 700, 100)
	hill := example.Bump{Middle: r3.Vec{X: 80, Y: -200, Z: -5}, Peak: 12, Width: 70, Ground: 0.3, SD: 0.05, Grow: 0.001}
	p, err := Map(t.Context(), example.Findings(c, hill, nil), nil, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The same findings give the same bytes, from the same picture and from one
// drawn anew.
func TestPicturesAreRepeatable(t *testing.T) {
	a, b := hillMap(t, MapOptions{Narrow: true}), hillMap(t, MapOptions{Narrow: true})
	for _, f := range formats {
		first := written(t, a, f)
		if !bytes.Equal(first, written(t, a, f)) {
			t.Errorf("%s: written twice, two files", f)
		}
		if !bytes.Equal(first, written(t, b, f)) {
			t.Errorf("%s: drawn twice, two files", f)
		}
	}
}

// A millimetre is as long up as across, in every picture.
func TestOneScale(t *testing.T) {
	for _, size := range [][2]float64{{700, 360}, {300, 1400}, {2000, 60}, {5, 4}} {
		p := Description(example.Board(size[0], size[1], max(size[0], size[1])/6))
		o, x, y := p.Frame.At(draw.Flat(r3.Vec{})), p.Frame.At(draw.Flat(r3.Vec{X: 1})), p.Frame.At(draw.Flat(r3.Vec{Y: 1}))
		up, right := x.Sub(o), y.Sub(o)
		if up.X != 0 || right.Y != 0 || up.Y <= 0 || math.Abs(float64(up.Y-right.X)) > 1e-9 {
			t.Errorf("%v: x runs %v, y runs %v", size, up, right)
		}
		for _, q := range example.Board(size[0], size[1], 1).Body.OutlineMM {
			at := p.Frame.At(q)
			if at.X < 0 || at.Y < 0 || at.X > p.Width || at.Y > p.Height {
				t.Errorf("%v: the corner %v is off the page, at %v", size, q, at)
			}
		}
	}
}

// The faults of the library's SVG are corrected.
func TestSVGIsMended(t *testing.T) {
	s := string(written(t, hillMap(t, MapOptions{}), draw.SVG))
	if n := strings.Count(s, "<image "); n != 2 {
		t.Errorf("%d images, want the map and its bar", n)
	}
	if strings.Count(s, `preserveAspectRatio="none"`) != 2 || strings.Count(s, "data:image/png;base64") != 2 || strings.Contains(s, "image/jpg") {
		t.Error("images are not mended")
	}
	if strings.Contains(s, "font-family:Liberation Sans") || !strings.Contains(s, "sans-serif") {
		t.Error("no font to fall back to")
	}
	if strings.Count(s, "<text ") != strings.Count(s, "textLength=") {
		t.Error("a text has no width")
	}
	if !strings.Contains(s, "<title id=") || !strings.Contains(s, "<desc id=") {
		t.Error("no title or description")
	}
	checkXML(t, s)
	if len(s) > 600_000 {
		t.Errorf("%d bytes: is the map drawn as an image?", len(s))
	}
}

func checkXML(t *testing.T, s string) {
	t.Helper()
	ids := map[string]bool{}
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		for _, a := range start.Attr {
			if a.Name.Local != "id" {
				continue
			}
			if ids[a.Value] {
				t.Errorf("id %s twice", a.Value)
			}
			ids[a.Value] = true
		}
	}
}

// A name from outside must not become markup, and a letter that the font lacks
// must show as one that it has.
func TestPicturesOfStrangeNames(t *testing.T) {
	c := example.Board(300, 500, 100)
	c.Name = `<script>alert("1")</script> & Möwe`
	c.Singles = []survey.Station{{Name: "Ось Ω", At: r3.Vec{X: 20, Y: 33}}, {Name: "东北\nx", At: r3.Vec{X: -70, Y: 150}}}
	p := Description(c)
	s := string(written(t, p, draw.SVG))
	if strings.Contains(s, "<script") {
		t.Error("a name became markup")
	}
	checkXML(t, s)
	if !strings.Contains(s, "Ось Ω") || !strings.Contains(s, "□×3x (-70, 150)") {
		t.Error("names are not shown")
	}
	if !strings.Contains(s, "letter that the picture&#39;s font lacks") && !strings.Contains(s, "stands for a letter") {
		t.Error("the stand-in is not explained")
	}
}

// Guards two faults of the library's PDF: text in another encoding, and the
// date of the clock.
func TestPDFText(t *testing.T) {
	tool := look.For(t, "pdftotext")
	c := example.Board(300, 500, 100)
	c.Name = "Möwe ± Чайка Γλάρος"
	c.Singles = []survey.Station{{Name: "µT °", At: r3.Vec{X: 20, Y: 33}}}
	p, err := Map(t.Context(), example.Findings(c, nil, example.Bump{Peak: 9, Width: 80, Ground: 1}), nil, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	data := written(t, p, draw.PDF)
	file := filepath.Join(t.TempDir(), "a.pdf")
	look.Write(t, file, data)
	text := string(look.Run(t, tool, "-layout", file, "-"))
	for _, want := range []string{"Möwe ± Чайка Γλάρος", "steady disturbance |d|, µT", "NOSE", "µT °"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in:\n%s", want, text)
		}
	}
	if strings.Contains(text, "Â") {
		t.Error("text in the wrong encoding")
	}
	if !bytes.Contains(data, []byte("20260601")) {
		t.Error("not dated by the survey")
	}
}
