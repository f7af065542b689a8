package picture

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/survey"
)

// The numbers of a map are those of the field at the sensor, and their places agree
// with the picture.
func TestMapValuesAreTheField(t *testing.T) {
	c := &survey.Craft{
		Name: "plank", Heights: []float64{0, 40}, Body: survey.Body{OutlineMM: example.Box(400, 200), SurfaceZMM: -20},
		Module: survey.Module{SensorHeightMM: 6}, Limits: survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100},
	}
	hill := example.Bump{Middle: r3.Vec{X: 60, Y: -30, Z: -26}, Peak: 8, Width: 60, Ground: 0.5, SD: 0.05}
	f := example.Findings(c, hill, nil)
	high := 40.0
	low, err := NewMapValues(t.Context(), f, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	above, err := NewMapValues(t.Context(), f, MapOptions{HeightMM: &high})
	if err != nil {
		t.Fatal(err)
	}
	var most, mostAbove float64
	for i, ground := range low.Ground {
		x, y := low.Xmm+low.StepMM*float64(i/low.Columns), low.Ymm+low.StepMM*float64(i%low.Columns)
		if ground == GroundOff {
			if !math.IsNaN(float64(low.UT[i])) {
				t.Fatalf("x %g, y %g is off the craft and has %g uT", x, y, low.UT[i])
			}
			continue
		}
		want, _ := hill.At(r3.Vec{X: x, Y: y, Z: -26})
		if got := float64(low.UT[i]); math.Abs(got-want.X) > 1e-7 { // places carry nine digits
			t.Fatalf("x %g, y %g: %g uT, the field is %g", x, y, got, want.X)
		}
		// Level, d across the field at worst: asin(d/H), a textbook's.
		if deg := 180 / math.Pi * math.Asin(want.X/f.HUT); math.Abs(float64(low.Deg[i])-deg) > 0.1+0.02*deg {
			t.Fatalf("x %g, y %g: %g degrees, want %g", x, y, low.Deg[i], deg)
		}
		most, mostAbove = max(most, float64(low.UT[i])), max(mostAbove, float64(above.UT[i]))
	}
	if most < 8 || mostAbove > 0.9*most {
		t.Errorf("at most %g uT on the surface, %g above it", most, mostAbove)
	}
	text, err := json.Marshal(low)
	if err != nil || !json.Valid(text) {
		t.Error(err)
	}
	p, err := Map(t.Context(), f, nil, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	at := p.Frame.At(r2.Vec{X: 60, Y: -30})
	s := p.Spot()
	if math.Abs(s.AcrossPt-30*s.Scale-at.X.Points()) > 1e-6 || math.Abs(s.DownPt-60*s.Scale-(p.Height-at.Y).Points()) > 1e-6 {
		t.Errorf("%+v, but the place is drawn at %v", s, at)
	}
	bad := 7.0
	if _, err := NewMapValues(t.Context(), f, MapOptions{HeightMM: &bad}); err == nil {
		t.Error("a height that the craft file does not have passes")
	}
	if _, err := NewMapValues(t.Context(), f, MapOptions{Part: PartSteady}); err == nil {
		t.Error("a part that was not measured passes")
	}
}

// Two maps side by side share their colours.
func TestMapPairSharesItsScale(t *testing.T) {
	plank := func(peak float64) Ranked {
		c := &survey.Craft{
			Name: "plank", Heights: []float64{0}, Body: survey.Body{OutlineMM: example.Box(400, 200)},
			Limits: survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100},
		}
		return Ranked{Findings: example.Findings(c, nil, example.Bump{Peak: peak, Width: 60, Ground: 0.5, SD: 0.05})}
	}
	pair, err := MapPair(t.Context(), plank(1), plank(900), MapOptions{Part: PartSteady})
	if err != nil {
		t.Fatal(err)
	}
	alone, err := Map(t.Context(), plank(1).Findings, nil, MapOptions{Part: PartSteady})
	if err != nil {
		t.Fatal(err)
	}
	scale := func(p *draw.Picture) string {
		for _, l := range p.Layout() {
			if ends, ok := strings.CutPrefix(l, "bar "); ok {
				ends, _, _ = strings.Cut(ends, ",")
				return ends
			}
		}
		return ""
	}
	if a, b := scale(pair[0]), scale(pair[1]); a == "" || a != b || a == scale(alone) {
		t.Errorf("scales:\n%s\n%s\nalone:\n%s", a, b, scale(alone))
	}
}
