package template_test

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/pdf"
	"quietmount/report/template"
	"quietmount/survey"
)

// spotFile writes a glue template and returns its path.
func spotFile(t *testing.T, c *survey.Craft, s template.Spot, o template.Options) string {
	t.Helper()
	o.Date = date()
	var b bytes.Buffer
	if err := template.WriteSpot(&b, c, s, o); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "glue.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return name
}

// nameAt returns the middle of a station's cross on a glue template, from the words
// beside it: its upright name lies right of and below the cross, its other name is
// turned by 180 degrees about it, so that the cross is half way between them.
func nameAt(t *testing.T, words []word, name string) r2.Vec {
	t.Helper()
	var all []word
	for _, w := range words {
		if w.text == name {
			all = append(all, w)
		}
	}
	if len(all) < 2 {
		t.Fatalf("%s is printed %d times, want twice", name, len(all))
	}
	a, b := all[len(all)-2], all[len(all)-1]
	return r2.Vec{X: (a.x0 + a.x1 + b.x0 + b.x1) / 4, Y: (a.y0 + a.y1 + b.y0 + b.y1) / 4}
}

// darkRuns returns the middles, mm, of the dark stretches along a line of pixels.
func darkRuns(img image.Image, from, to r2.Vec) []float64 {
	level := from.Y == to.Y
	begin, end, fixed := pixels(from.X), pixels(to.X), pixels(from.Y)
	if !level {
		begin, end, fixed = pixels(from.Y), pixels(to.Y), pixels(from.X)
	}
	var out []float64
	first := -1
	for k := begin; k <= end; k++ {
		on := (level && dark(img, k, fixed)) || (!level && dark(img, fixed, k))
		switch {
		case on && first < 0:
			first = k
		case !on && first >= 0:
			out, first = append(out, millimetres(float64(first+k)/2)), -1
		}
	}
	return out
}

// The grid of 60 mm has C2 at (120, 0) and C3 at (60, 0). The spot lies 8 mm behind C2
// and 24 mm right of it, by hand. On paper the stations, the footprint of 38 by 38 mm
// and the ruler have the craft's own millimetres, on either side and paper.
func TestSpotIsAtFullScale(t *testing.T) {
	spot := template.Spot{Number: 2, At: r3.Vec{X: 112, Y: 24, Z: -20}, Runs: []int{1, 3, 4}}
	c := craft(t, "Test", grid)
	for _, side := range []template.Side{template.Top, template.Underside} {
		for _, paper := range []pdf.Paper{pdf.A4(), pdf.Letter()} {
			name := spotFile(t, c, spot, template.Options{Side: side, Paper: paper})
			words := printed(t, name)
			if last := words[len(words)-1].page; last != 1 {
				t.Errorf("%d pages", last)
			}
			img := render(t, name, 1)
			if got := ruler(img); math.Abs(got-100) > 0.3 {
				t.Errorf("%s %s: the ruler measures %.2f mm", side, paper.Name, got)
			}
			mirrored := 1.0
			if side == template.Underside {
				mirrored = -1
			}
			c2 := crosshair(img, nameAt(t, words, "C2"))
			d2 := crosshair(img, nameAt(t, words, "D2"))
			if got := mirrored * (d2.X - c2.X); math.Abs(got-60) > 0.3 || math.Abs(d2.Y-c2.Y) > 0.3 {
				t.Errorf("%s %s: C2 and D2 are %.2f mm apart, want 60", side, paper.Name, got)
			}
			centre := r2.Add(c2, r2.Vec{X: mirrored * 24, Y: 8})
			// The footprint's sides, 15 mm beside the centre where nothing else is drawn.
			across := darkRuns(img, r2.Add(centre, r2.Vec{X: -21, Y: 15}), r2.Add(centre, r2.Vec{X: 21, Y: 15}))
			along := darkRuns(img, r2.Add(centre, r2.Vec{X: 15 * mirrored, Y: -21}), r2.Add(centre, r2.Vec{X: 15 * mirrored, Y: 21}))
			for _, sides := range []struct {
				runs   []float64
				middle float64
			}{{across, centre.X}, {along, centre.Y}} {
				n := len(sides.runs)
				if n < 2 || math.Abs(sides.runs[n-1]-sides.runs[0]-38) > 0.3 || math.Abs((sides.runs[0]+sides.runs[n-1])/2-sides.middle) > 0.3 {
					t.Errorf("%s %s: the footprint's sides at %.2f, want 38 mm apart about %.2f", side, paper.Name, sides.runs, sides.middle)
				}
			}
		}
	}
}

func allWords(words []word) string {
	var b strings.Builder
	for _, w := range words {
		b.WriteString(w.text + " ")
	}
	return b.String()
}

// What must be read on the sheet, and nothing of it beyond the printer's reach.
func TestSpotTellsWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, rest string
		foot       string
		spot       template.Spot
		want       []string
	}{
		{"beside a station", grid, "38, 38", template.Spot{Number: 2, At: r3.Vec{X: 112, Y: 24, Z: -20}, Runs: []int{1, 3, 4}},
			[]string{"Möwe: glue template, spot 2", "8 mm behind C2, 24 mm right of it (8 mm behind D2, 36 mm left of it), on the surface", "24 mm", "36 mm", "sensor", "NOSE", "runs 1, 3 and 4, 2026-06-01", "38 mm along by 38 mm across"}},
		{"over a station, raised", grid, "38, 38", template.Spot{At: r3.Vec{X: 120, Z: -20}, HeightMM: 40},
			[]string{"a place given by hand", "at C2, 40 mm above the surface", "by hand"}},
		{"at the rim", grid, "38, 38", template.Spot{Number: 1, At: r3.Vec{X: 199, Y: 149, Z: -20}}, []string{"19 mm ahead of E1, 29 mm right of it"}},
		{"a big footprint", grid, "140, 120", template.Spot{Number: 1, At: r3.Vec{X: 10, Y: 5, Z: -20}}, []string{"140 mm along by 120 mm across", "C4"}},
		{"marks too far for the sheet", "[grid]\nspacing_mm = 230\norigin_mm = [115, 0]\n", "38, 38", template.Spot{Number: 1, At: r3.Vec{X: 0, Y: 20, Z: -20}},
			[]string{"115 mm behind", "Too far for this sheet"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := craft(t, "Möwe", c.rest)
			fmt.Sscanf(c.foot, "%g, %g", &b.Module.FootprintMM.X, &b.Module.FootprintMM.Y)
			for _, paper := range []pdf.Paper{pdf.A4(), pdf.Letter()} {
				words := printed(t, spotFile(t, b, c.spot, template.Options{Side: template.Top, Paper: paper}))
				text := allWords(words)
				for _, want := range c.want {
					if !strings.Contains(text, want) {
						t.Errorf("%s lacks %q:\n%s", paper.Name, want, text)
					}
				}
				for _, w := range words {
					if w.page != 1 || w.x0 < 5 || w.y0 < 5 || w.x1 > paper.Width-5 || w.y1 > paper.Height-5 {
						t.Errorf("%s: %q is printed on page %d at %.0f to %.0f, %.0f to %.0f mm", paper.Name, w.text, w.page, w.x0, w.x1, w.y0, w.y1)
					}
				}
			}
		})
	}
}

func TestSpotRefused(t *testing.T) {
	c := craft(t, "Test", grid)
	if err := template.WriteSpot(new(bytes.Buffer), c, template.Spot{}, template.Options{Side: "bottom"}); !errors.Is(err, template.ErrSide) {
		t.Errorf("side bottom: %v", err)
	}
	c.Module.FootprintMM = r2.Vec{X: 250, Y: 100}
	if err := template.WriteSpot(new(bytes.Buffer), c, template.Spot{}, template.Options{Side: template.Top}); !errors.Is(err, template.ErrTooLarge) {
		t.Errorf("a footprint longer than the page: %v", err)
	}
	var first, second bytes.Buffer
	c = craft(t, "Test", grid)
	for _, b := range []*bytes.Buffer{&first, &second} {
		if err := template.WriteSpot(b, c, template.Spot{Number: 1}, template.Options{Side: template.Top, Date: date()}); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("the same spot gives other bytes")
	}
}
