package report

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"
)

// A phone 360 CSS pixels wide shows a narrow picture with its letters at 0.7 of
// their size on paper or more where they are 8.5 points: over 10 pixels. Nothing
// leaves the page.
func TestNarrowPicturesFitAPhone(t *testing.T) {
	f := twoLoads(withReadings(inventedFindings(inventedHull(), bump{peak: 9, widthM: 60, ground: 0.4}, nil)))
	m, err := Map(f, nil, MapOptions{Narrow: true})
	if err != nil {
		t.Fatal(err)
	}
	l, err := LoadChart(f, nil, LoadChartOptions{Load: "motor", Narrow: true})
	if err != nil {
		t.Fatal(err)
	}
	s, err := StatesPictures(f, nil, MapOptions{Narrow: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []*Picture{m, l, s[0]} {
		if pixels := textSize * 360 / p.width.Points(); pixels < 10 {
			t.Errorf("%s: letters of %.1f pixels", p.Title(), pixels)
		}
		for _, frame := range append(p.panels, p.frame) {
			for _, q := range f.Craft.Body.OutlineMM {
				if at := frame.at(q); frame.scale > 0 && (at.X < 0 || at.X > p.width || at.Y < 0 || at.Y > p.height) {
					t.Errorf("%s: %v is off the page", p.Title(), q)
				}
			}
		}
	}
}

// Where the limit has no line the key says on which side everything is.
func TestLimitKey(t *testing.T) {
	q := quantity{limit: 5, limitWords: "budget 5°"}
	for _, c := range []struct {
		shown []float64
		want  string
	}{
		{[]float64{6, 80}, "over the budget 5° everywhere"},
		{[]float64{0.1, 4.9}, "under the budget 5° everywhere"},
		{[]float64{0.1, 6}, "quieter on the light side"},
		{nil, "quieter on the light side"},
	} {
		if k := limitKey(q, c.shown); !strings.Contains(k.words, c.want) || (k.draw == nil) != strings.Contains(c.want, "everywhere") {
			t.Errorf("%v: %q", c.shown, k.words)
		}
	}
}

// Letters without a shape are counted; those with a plain form take it
// (Unicode Standard Annex 15, NFKC: fullwidth forms and ligatures).
func TestPrintable(t *testing.T) {
	p := newPen(&Picture{})
	for in, want := range map[string]string{
		"Möwe Ω ± Ж": "Möwe Ω ± Ж", "翼": "□", "翼翼翼 B3": "□×3 B3", "Ｂ３": "B3", "": "", "a\tb": "a□b", "翼a翼翼": "□a□×2",
	} {
		if got := p.printable(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
	for name, want := range map[string]string{"B3": "B3", "翼翼": "翼翼 (-20, 35)"} {
		if got := p.placed(name, r2.Vec{X: -20, Y: 35}); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

// A name keeps off a line beside its station while there is another side, and
// crosses it only when all others are taken.
func TestNamesKeepOffLines(t *testing.T) {
	l := labels{region: vg.Rectangle{Max: vg.Point{X: 100, Y: 100}}}
	at := vg.Point{X: 50, Y: 50}
	l.avoidAlong([]vg.Point{{X: 56, Y: 0}, {X: 56, Y: 100}})
	box, _, ok := l.near(at, 20, 8, 3)
	if !ok || meets(box, l.crossed) {
		t.Errorf("across the line at %v", box)
	}
	l.take(vg.Point{}, vg.Point{X: 49, Y: 100}) // nothing is left on the left
	l.take(vg.Point{Y: 55}, vg.Point{X: 100, Y: 100})
	l.take(vg.Point{}, vg.Point{X: 100, Y: 41})
	if box, _, ok = l.near(at, 20, 8, 3); !ok || box.Min.X < 50 {
		t.Errorf("no place beside the line: %v, %v", box, ok)
	}
}

// A dark picture can be read: the words, the greys and the inks of leads and
// parts stand out from its ground by 3 to 1 or more. Source: WCAG 2.2, relative
// luminance, and 1.4.11 Non-text Contrast.
func TestDarkInksStandOut(t *testing.T) {
	luminance := func(c interface{ RGBA() (r, g, b, a uint32) }) float64 {
		r, g, b, _ := c.RGBA()
		linear := func(v uint32) float64 {
			s := float64(v) / 0xffff
			if s <= 0.04045 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
	}
	ground := luminance(darkInk(white))
	for name, ink := range map[string]interface{ RGBA() (r, g, b, a uint32) }{"words": darkInk(black), "grey": darkInk(grey), "leads": darkInk(wire), "parts": darkInk(solid)} {
		if ratio := (luminance(ink) + 0.05) / (ground + 0.05); ratio < 3 {
			t.Errorf("%s stand out by %.2f", name, ratio)
		}
	}
}
