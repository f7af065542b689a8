package picture

import (
	"bytes"
	"fmt"
	"image"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

func loadChartOf(t *testing.T) *draw.Picture {
	t.Helper()
	f := example.WithReadings(example.Findings(example.Board(300, 500, 100), example.Bump{Peak: 4, Width: 90}, nil))
	p, err := LoadChart(f, nil, LoadChartOptions{Load: "motor", Stations: []string{"A1", "B2", "C3"}})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The field grows upwards and the current to the right: places on paper by
// hand from two readings and the axes' own scale.
func TestLoadChartIsTheRightWayUp(t *testing.T) {
	at := func(name string, component string, amps, ut float64) (x, y float64) {
		for _, l := range loadChartOf(t).Layout() {
			var a, v, px, py float64
			if n, _ := fmt.Sscanf(l, name+" "+component+" %f A %f uT at %f, %f", &a, &v, &px, &py); n == 4 && a == amps && v == ut {
				return px, py
			}
		}
		t.Fatalf("no reading of %s at %g A with %g uT", component, amps, ut)
		return 0, 0
	}
	x0, y0 := at("A1", "x", 0, 0)
	x3, y3 := at("A1", "x", 3, 1.2)
	x6, y6 := at("A1", "x", 6, 2.9)
	if !(x0 < x3 && x3 < x6) || !(y0 < y3 && y3 < y6) {
		t.Errorf("0, 3, 6 A at %g, %g, %g; 0, 1.2, 2.9 uT at %g, %g, %g", x0, x3, x6, y0, y3, y6)
	}
	if ratio := (y6 - y0) / (y3 - y0); ratio < 2.9/1.2-0.02 || ratio > 2.9/1.2+0.02 {
		t.Errorf("2.9 uT stand %g times as high as 1.2", ratio)
	}
	if _, y := at("A1", "y", 6, -1.2); y >= y0 {
		t.Errorf("-1.2 uT at %g, nothing at %g", y, y0)
	}
	if x, _ := at("B2", "x", 0, 0); x <= x6 {
		t.Errorf("the second chart begins at %g, left of %g", x, x6)
	}
}

// The chart states how far was measured, by how much it is extrapolated, and k with
// its interval (4 uT at 10 A: 0.4 uT/A, 1.96 times 0.03).
func TestLoadChartWords(t *testing.T) {
	p := loadChartOf(t)
	s := string(written(t, p, draw.SVG))
	for _, want := range []string{"× 1.67", "x +0.400±0.059", "y -0.200±0.039", "station C3: x -100, y 0 mm", "p = 0.4"} {
		if !strings.Contains(s, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if want := "measured up to 6 A of 10 A"; !strings.Contains(p.Description(), want) {
		t.Errorf("%q is missing in %q", want, p.Description())
	}
}

// Without a choice it takes the stations nearest to the ranked spots, each once;
// without a ranking those with the largest field.
func TestLoadChartChoosesStations(t *testing.T) {
	f := example.WithReadings(example.Findings(example.Board(300, 500, 100), example.Bump{Peak: 4, Width: 90}, nil))
	loudest := f.Stations[7].Station.Name
	f.Stations[7].Loads["motor"] = evaluate.Estimate{Mean: r3.Vec{Z: 9}, Cov: magmath.Diagonal(1, 1, 1)}
	ranking := &rank.Ranking{Spots: []rank.Spot{{NearestStation: "C1"}, {NearestStation: "A3"}, {NearestStation: "C1"}, {NearestStation: "gone"}}}
	for _, c := range []struct {
		ranking *rank.Ranking
		want    []string
	}{{ranking, []string{"C1", "A3"}}, {nil, []string{loudest, "A1", "B1", "C1"}}} {
		g := &loadChart{f: f, load: f.Craft.Loads[0]}
		got, err := g.chosen(c.ranking, nil)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, s := range got {
			names = append(names, s.Station.Name)
		}
		if strings.Join(names, " ") != strings.Join(c.want, " ") {
			t.Errorf("got %v, want %v", names, c.want)
		}
	}
}

func TestLoadChartRefuses(t *testing.T) {
	f := twoLoads(example.WithReadings(example.Findings(example.Board(300, 500, 100), example.Bump{Peak: 4, Width: 90}, nil)))
	f.Craft.Loads = append(f.Craft.Loads, survey.Load{Name: "radio", Kind: survey.LoadCurrent, MaxCurrentA: 2})
	for why, o := range map[string]LoadChartOptions{
		"no load":                      {Load: "moter"},
		"has no current":               {Load: "servo"},
		"--current-a":                  {Load: "radio"},
		`not captured at station "Z9"`: {Load: "motor", Stations: []string{"Z9"}},
		"at most 6":                    {Load: "motor", Stations: strings.Fields("A1 A2 A3 B1 B2 B3 C1")},
	} {
		if _, err := LoadChart(f, nil, o); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%+v: got %v, want %q", o, err, why)
		}
	}
}

func TestSpanOf(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      span
	}{
		{0, 18, span{0, 20, []float64{0, 5, 10, 15, 20}}},
		{-0.3, 1.1, span{-0.4, 1.2, []float64{-0.4, -0.2, 0, 0.2, 0.4, 0.6, 0.8, 1, 1.2}}},
		{0, 0, span{-0.0005, 0.0005, nil}},
		{3, -3, span{0, 1, nil}},
	} {
		got := spanOf(c.low, c.high)
		if got.low-c.want.low > 1e-9 || c.want.high-got.high > 1e-9 || len(got.ticks) < 4 || len(got.ticks) > 10 {
			t.Errorf("%g to %g: %+v", c.low, c.high, got)
		}
		for i, v := range c.want.ticks {
			if i >= len(got.ticks) || decimal(got.ticks[i]) != decimal(v) {
				t.Errorf("%g to %g: ticks %v, want %v", c.low, c.high, got.ticks, c.want.ticks)
				break
			}
		}
	}
}

// A dark picture has the same shapes on a dark ground with light words, and the light
// picture is unchanged.
func TestDark(t *testing.T) {
	p := hillMap(t, MapOptions{})
	before := written(t, p, draw.SVG)
	pixels := func(p *draw.Picture) image.Image {
		img, err := p.Pixels(72)
		if err != nil {
			t.Fatal(err)
		}
		return img
	}
	light, dark := pixels(p), pixels(p.Dark())
	if light.Bounds() != dark.Bounds() {
		t.Fatal("another size")
	}
	if r, _, _, _ := dark.At(3, 3).RGBA(); r>>8 > 0x30 {
		t.Errorf("the ground is %x", r>>8)
	}
	if r, _, _, _ := light.At(3, 3).RGBA(); r>>8 < 0xf0 {
		t.Errorf("the light ground is %x", r>>8)
	}
	at := p.Frame.At(draw.Flat(r3.Vec{X: 30, Y: -40})) // ground of the map
	k := float64(light.Bounds().Dx()) / p.Width.Points()
	x, y := int(at.X.Points()*k), int((p.Height-at.Y).Points()*k)
	if light.At(x, y) != dark.At(x, y) {
		t.Errorf("the map's colour turned from %v to %v", light.At(x, y), dark.At(x, y))
	}
	if !bytes.Equal(written(t, p, draw.SVG), before) {
		t.Error("the light picture changed")
	}
}
