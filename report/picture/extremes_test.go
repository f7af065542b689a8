package picture

import (
	"io"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// unknown is a field without an estimate.
type unknown struct{}

func (unknown) At(r3.Vec) (r3.Vec, magmath.Mat3) {
	return r3.Vec{X: math.NaN()}, magmath.Mat3{}
}

// Nothing that a craft file may hold stops a picture.
func TestExtremes(t *testing.T) {
	quiet := example.Bump{Peak: 1, Width: 90, Ground: 0.2, SD: 0.05}
	one := example.Board(200, 60, 1000)
	many := example.Board(600, 500, 30)
	strange := example.Board(300, 500, 100)
	strange.Name = strings.Repeat("长", 40)
	strange.Singles = []survey.Station{{Name: strings.Repeat("測", 40), At: r3.Vec{X: 33}}, {Name: strings.Repeat("Станция", 6), At: r3.Vec{X: -77, Y: 70}}}
	strange.Keepouts = []survey.Keepout{{Name: strings.Repeat("W", 300), OutlineMM: around(0, 0, 40)}}
	bare := &survey.Craft{}
	for _, c := range []struct {
		name     string
		craft    *survey.Craft
		field    evaluate.Field
		ranking  *rank.Ranking
		stations int
		panels   bool // small maps too
	}{
		{name: "one station", craft: one, field: quiet, stations: 1, panels: true},
		{name: "hundreds of stations", craft: many, field: quiet, stations: 357},
		{name: "strange names", craft: strange, field: quiet, stations: 17},
		{name: "all over budget", craft: example.Board(300, 100, 40), field: example.Bump{Ground: 60, SD: 1}, stations: 21},
		{name: "no disturbance at all", craft: example.Board(300, 100, 40), field: example.Bump{}, stations: 21},
		{name: "unknown everywhere", craft: example.Board(300, 100, 40), field: unknown{}, stations: 21, panels: true},
		{name: "slender", craft: example.Board(3000, 40, 300), field: quiet, stations: 11, panels: true},
		{name: "broad", craft: example.Board(30, 4000, 500), field: quiet, stations: 9, panels: true},
		{name: "tiny", craft: example.Board(4, 3, 1), field: quiet, stations: 15},
		{name: "a spot out of reason", craft: example.Board(300, 100, 40), field: quiet, stations: 21,
			ranking: &rank.Ranking{Spots: []rank.Spot{{Rank: 1, At: r3.Vec{X: 9e5}, PlacementToleranceMM: math.Inf(1)}, {Rank: 12, PlacementToleranceMM: math.NaN()}}}},
		{name: "nothing described", craft: bare, field: quiet, panels: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := len(c.craft.Stations()); got != c.stations {
				t.Fatalf("%d stations, want %d", got, c.stations)
			}
			pictures := []*draw.Picture{Description(c.craft)}
			f := example.Findings(c.craft, c.field, c.field)
			for _, part := range []string{"", PartSteady, "motor"} {
				p, err := Map(t.Context(), f, c.ranking, MapOptions{Part: part})
				if err != nil {
					t.Fatal(err)
				}
				pictures = append(pictures, p)
			}
			if c.panels && !testing.Short() {
				for _, p := range panelPictures(t, f, c.ranking) {
					pictures = append(pictures, p)
				}
			}
			for i, p := range pictures {
				for k, format := range formats {
					if i%3 != k && c.name != "strange names" { // each format once
						continue
					}
					var err error
					if format == draw.PNG && c.name != "strange names" { // one as a file is enough
						_, err = p.Pixels(72)
					} else {
						err = p.Write(io.Discard, format)
					}
					if err != nil {
						t.Error(err)
					}
				}
				if w, h := p.Width.Points(), p.Height.Points(); !(w > 100 && w < 1000 && h > 100 && h < 1500) {
					t.Errorf("a page of %v by %v pt", w, h)
				}
			}
			keep(t, "extreme-"+strings.ReplaceAll(c.name, " ", "-")+".png", pictures[1])
			keep(t, "extreme-"+strings.ReplaceAll(c.name, " ", "-")+"-described.png", pictures[0])
			if c.panels && !testing.Short() {
				keep(t, "extreme-"+strings.ReplaceAll(c.name, " ", "-")+"-panels.png", pictures[len(pictures)-1])
			}
		})
	}
}

// A part that was not measured cannot be drawn, and the error lists those that can.
func TestMapOfWhatWasNotMeasured(t *testing.T) {
	c := example.Board(300, 500, 100)
	none := example.Findings(c, nil, nil)
	none.Map = nil
	for _, part := range []string{"", "shifting", "steady", "magnitude", "motor"} {
		if _, err := Map(t.Context(), none, nil, MapOptions{Part: part}); err == nil || !strings.Contains(err.Error(), "nothing yet") {
			t.Errorf("%q: %v", part, err)
		}
	}
	only := example.Findings(c, nil, example.Bump{Ground: 1})
	if _, err := Map(t.Context(), only, nil, MapOptions{Part: "moter"}); err == nil || !strings.Contains(err.Error(), "steady and magnitude") {
		t.Errorf("got %v", err)
	}
	p, err := Map(t.Context(), only, nil, MapOptions{})
	if err != nil || !strings.Contains(p.Title(), "steady") {
		t.Errorf("default part: %v, %v", p.Title(), err)
	}
}

// A place is doubtful where the bound is far above the estimate.
func TestDoubt(t *testing.T) {
	f := example.Findings(example.Board(300, 600, 100), nil, example.Bump{Middle: r3.Vec{Y: -150, Z: -5}, Peak: 60, Width: 60, Ground: 4, SD: 0.01, Grow: 0.06})
	q, err := steady(f)
	if err != nil {
		t.Fatal(err)
	}
	h := newHeat(t.Context(), f, q, 0, nil)
	for _, c := range []struct {
		at       r2.Vec
		doubtful bool
	}{{r2.Vec{Y: -150}, false}, {r2.Vec{Y: -100}, false}, {r2.Vec{Y: 120}, true}, {r2.Vec{X: 90, Y: 250}, true}} {
		if got := h.doubt.Bilinear(c.at.Y, c.at.X) > 0; got != c.doubtful {
			m, v := f.Map.Steady.At(r3.Vec{X: c.at.X, Y: c.at.Y, Z: -5})
			t.Errorf("at %v: doubtful %v, with %.1f uT known to %.1f", c.at, got, m.X, math.Sqrt(v[0][0]))
		}
	}
}

// Beyond a right angle the error is stated as 180 degrees: the map draws that as one
// darkest area with a legend, which other maps lack.
func TestAnywhereIsSaid(t *testing.T) {
	for peak, want := range map[float64]bool{60: true, 15: false} {
		f := example.Findings(example.Board(300, 600, 100), example.Bump{Middle: r3.Vec{Y: -150, Z: -5}, Peak: peak, Width: 60, Ground: 0.2}, nil)
		p, err := Map(t.Context(), f, nil, MapOptions{})
		if err != nil {
			t.Fatal(err)
		}
		layout := strings.Join(p.Layout(), "\n")
		if got := strings.Contains(layout, "can point anywhere"); got != want {
			t.Errorf("a disturbance of %v uT in %v: said %v", peak, f.HUT, got)
		}
		if strings.Contains(layout, "tick 200") {
			t.Error("the bar runs beyond a right angle")
		}
	}
}
