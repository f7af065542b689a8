package picture

import (
	"fmt"
	"image"
	"image/color"
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

// panelPictures are the pictures of several small maps.
func panelPictures(t testing.TB, f *evaluate.Findings, ranking *rank.Ranking) map[string]*draw.Picture {
	t.Helper()
	states, err := States(t.Context(), f, ranking, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	heights, err := Heights(t.Context(), f, ranking, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	doubt, err := StandardError(t.Context(), f, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return map[string]*draw.Picture{"states": states[0], "heights": heights[0], "standard-error": doubt}
}

// twoLoads adds a second load to invented findings: a servo at the right
// behind, which can be on with the motor.
func twoLoads(f *evaluate.Findings) *evaluate.Findings {
	f.Craft.Loads = append(f.Craft.Loads, survey.Load{Name: "servo", Kind: survey.LoadMoving})
	f.Map.Loads["servo"] = example.Bump{Middle: r3.Vec{X: -hotX, Y: -hotY, Z: -5}, Peak: 6, Width: 40, Ground: 0.1, SD: 0.02}
	f.Map.Combinations = [][]string{{"motor", "servo"}}
	return f
}

// Each panel shows its own state: the motor is dark at the left in front, the
// servo at the right behind, and both together are dark at both.
func TestPanelsShowTheirOwnState(t *testing.T) {
	hill := example.Bump{Middle: r3.Vec{X: hotX, Y: hotY, Z: -5}, Peak: 15, Width: 40, Ground: 0.1, SD: 0.01}
	f := twoLoads(example.Findings(example.Board(400, 500, 500), hill, nil))
	states, err := States(t.Context(), f, nil, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	p := states[0]
	img, err := p.Pixels(100)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range [][2]bool{{true, true}, {true, false}, {false, true}} { // worst, motor, servo
		front, behind := darkness(p, img, i, hotX, hotY), darkness(p, img, i, -hotX, -hotY)
		even := darkness(p, img, i, hotX, -hotY)
		if (front > even+40) != want[0] || (behind > even+40) != want[1] {
			t.Errorf("panel %d: darkness %.0f in front, %.0f behind, %.0f elsewhere", i, front, behind, even)
		}
	}
}

// darkness is that of one pixel of a panel, 0 to 255.
func darkness(p *draw.Picture, img image.Image, panel int, x, y float64) float64 {
	at := p.Panels[panel].At(r2.Vec{X: x, Y: y})
	k := float64(img.Bounds().Dx()) / p.Width.Points()
	r, g, b, _ := img.At(int(at.X.Points()*k), int((p.Height-at.Y).Points()*k)).RGBA()
	return 255 - (0.3*float64(r)+0.6*float64(g)+0.1*float64(b))/257
}

// There are at most six panels per page, all on one scale, none missing or repeated.
func TestPanelsDealtToPages(t *testing.T) {
	f := example.Findings(example.Board(300, 60, 100), example.Bump{Peak: 3, Width: 80, Ground: 0.1}, nil)
	f.Craft.Heights = []float64{0, 10, 20, 30, 40, 50, 60}
	pages, err := Heights(t.Context(), f, nil, MapOptions{})
	if err != nil || len(pages) != 2 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	all := strings.Join(pages[0].Layout(), "\n") + strings.Join(pages[1].Layout(), "\n")
	for _, h := range f.Craft.Heights {
		if n := strings.Count(all, fmt.Sprintf("panel module at %g mm ", h)); n != 1 {
			t.Errorf("%g mm: %d panels", h, n)
		}
	}
	if len(pages[0].Panels) != 6 || len(pages[1].Panels) != 1 || !strings.Contains(pages[1].Title(), "page 2 of 2") {
		t.Errorf("%d and %d panels, %q", len(pages[0].Panels), len(pages[1].Panels), pages[1].Title())
	}
	if a, b := barOf(pages[0]), barOf(pages[1]); a == "" || a != b {
		t.Errorf("two scales: %q and %q", a, b)
	}
}

func barOf(p *draw.Picture) string {
	for _, l := range p.Layout() {
		if strings.HasPrefix(l, "bar ") {
			return l
		}
	}
	return ""
}

// The standard error of a field of known covariance, by hand: 0.3, 0.4 and 1.2
// uT make 0.7506 uT a component; level, 0.3536 uT of 18.5 uT are 1.0951 degrees.
func TestStandardErrorByHand(t *testing.T) {
	known := constant{r3.Vec{X: 1}, magmath.Diagonal(0.09, 0.16, 1.44)}
	f := example.Findings(example.Board(300, 500, 100), known, known)
	for part, want := range map[string]float64{PartShifting: 1.0951, PartSteady: 0.7506, "motor": 0.7506} {
		q, err := quantityOf(f, part)
		if err != nil {
			t.Fatal(err)
		}
		got, upper := spreadOf(f, q).at(sensorsAt(f, []r3.Vec{{}, {X: 90}})[0])
		if len(got) != 2 || math.Abs(got[1]-want) > 5e-4 || upper[1] != got[1] {
			t.Errorf("%s: %v, want %g", part, got, want)
		}
	}
}

type constant struct {
	mean r3.Vec
	cov  magmath.Mat3
}

func (c constant) At(r3.Vec) (r3.Vec, magmath.Mat3) { return c.mean, c.cov }

// A height that the craft file does not have is refused, with those that it
// has; one that it has is drawn as it is there.
func TestMapAtAHeight(t *testing.T) {
	f := example.Findings(example.Board(300, 500, 100), example.Bump{Middle: r3.Vec{Z: -5}, Peak: 15, Width: 30, Ground: 0.2}, nil)
	f.Craft.Heights = []float64{0, 120}
	if _, err := Map(t.Context(), f, nil, MapOptions{HeightMM: new(40.0)}); err == nil || !strings.Contains(err.Error(), "0 and 120 mm") {
		t.Errorf("got %v", err)
	}
	over := map[float64]bool{}
	for _, h := range f.Craft.Heights {
		p, err := Map(t.Context(), f, nil, MapOptions{HeightMM: &h})
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(p.Title(), fmt.Sprintf("at %g mm", h)) {
			t.Errorf("title %q", p.Title())
		}
		img, err := p.Pixels(100)
		if err != nil {
			t.Fatal(err)
		}
		p.Panels = []draw.Frame{p.Frame}
		over[h] = darkness(p, img, 0, 30, -30) > darkness(p, img, 0, 30, -160)+40
	}
	if !over[0] || over[120] { // four widths above the hill nothing is left of it
		t.Errorf("dark in the middle at: %v", over)
	}
}

// A spot at another height is marked differently from those of the map.
func TestSpotAtAnotherHeight(t *testing.T) {
	f := example.Findings(example.Board(300, 500, 100), example.Bump{Peak: 9, Width: 40, Ground: 0.2}, nil)
	f.Craft.Heights = []float64{0, 60}
	ranking := &rank.Ranking{Spots: []rank.Spot{{Rank: 1, At: r3.Vec{X: 80}, HeightMM: 60, PlacementToleranceMM: 20}}}
	for h, want := range map[float64]bool{0: true, 60: false} {
		p, err := Map(t.Context(), f, ranking, MapOptions{HeightMM: &h})
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(strings.Join(p.Layout(), "\n"), "spot at another height"); got != want {
			t.Errorf("at %g mm: said %v", h, got)
		}
	}
}

// Within 10 mm of a lead, or within its gap, there is no value, no line and no
// hatch; a finger's breadth beside it there is.
func TestNothingIsDrawnOnALead(t *testing.T) {
	f := example.Findings(example.Board(300, 500, 100), nil, example.Bump{Middle: r3.Vec{Y: -120, Z: -5}, Peak: 12, Width: 60, Ground: 4, Grow: 0.1})
	f.Craft.Parts = []survey.Part{{Name: "lead", PathMM: []r3.Vec{{X: 120, Y: 60}, {X: -120, Y: 60}}, GapMM: 30, Load: "motor"}}
	p, err := Map(t.Context(), f, nil, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(p.Layout(), "\n"), "no value: the sensor would be within 10 mm") {
		t.Error("the legend does not say so")
	}
	q, err := steady(f)
	if err != nil {
		t.Fatal(err)
	}
	m := &mapping{ground: ground{craft: f.Craft}, f: f, q: q}
	m.scale(t.Context())
	img := m.image(func(v float64) color.Color { return m.ramp.Color(math.Exp(v)) })
	colored := func(x, y float64) bool {
		l := m.value
		r, g, b, _ := img.At(int(math.Round((y-l.X0)/l.DX)), l.NY-1-int(math.Round((x-l.Y0)/l.DY))).RGBA()
		return r&g&b != 0xffff
	}
	// The sensor is 5 mm above the surface, so the reach of 30 mm is 29.6 on it.
	for y, want := range map[float64]bool{60: false, 33: false, 87: false, 26: true, 94: true} {
		if got := colored(10, y); got != want {
			t.Errorf("%g mm beside the lead: coloured %v", y-60, got)
		}
	}
	if m.doubtful(r2.Vec{X: 60, Y: 10}) || !m.doubtful(r2.Vec{X: 20, Y: 10}) {
		t.Error("hatched where there is no value, or not where there is doubt")
	}
}
