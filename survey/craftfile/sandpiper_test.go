package craftfile

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/plane"
	"quietmount/survey"
)

func sandpiper(t testing.TB) *survey.Craft {
	t.Helper()
	src, err := os.ReadFile(filepath.Join("..", "..", "testdata", "craft", "sandpiper.toml"))
	if err != nil {
		t.Fatal(err)
	}
	c, err := Parse(src, "sandpiper.toml")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The stations were counted by hand: y = -180, -120 .. 180 are the columns A
// to G, x = 300, 240 .. -300 the rows 1 to 11.
func TestSandpiperStations(t *testing.T) {
	c := sandpiper(t)
	stations := c.Stations()
	if len(stations) != 7*11+1 {
		t.Errorf("%d stations, want 7 * 11 and the mast", len(stations))
	}
	for name, want := range map[string]r3.Vec{
		"A1":   {X: 300, Y: -180, Z: -20}, // left edge
		"G1":   {X: 300, Y: 180, Z: -20},  // right edge
		"D6":   {X: 0, Y: 0, Z: -20},
		"B3":   {X: 180, Y: -120, Z: -20},
		"E11":  {X: -300, Y: 60, Z: -20},
		"mast": {X: -60, Y: 0, Z: -240},
		"T":    {X: 700, Y: 0, Z: -20},
	} {
		got, ok := c.Station(name)
		if !ok || got.At != want || got.Name != name {
			t.Errorf("station %s: %+v, %v, want at %+v", name, got, ok, want)
		}
	}
	for _, name := range []string{"H1", "A0", "A12", "a1", ""} {
		if _, ok := c.Station(name); ok {
			t.Errorf("there is a station %q", name)
		}
	}
	order := []string{stations[0].Name, stations[1].Name, stations[7].Name, stations[76].Name, stations[77].Name}
	if want := []string{"A1", "B1", "A2", "G11", "mast"}; !slices.Equal(order, want) {
		t.Errorf("order %v, want %v", order, want)
	}
}

func TestSandpiperValues(t *testing.T) {
	c := sandpiper(t)
	if c.Name != "Sandpiper" || c.Site != (survey.Site{LatitudeDeg: 53.3, LongitudeDeg: -9.1, AltitudeM: 2}) {
		t.Errorf("name %q, site %+v", c.Name, c.Site)
	}
	if c.Module.Axes == nil || *c.Module.Axes != magmath.Identity() {
		t.Errorf("axes %v", c.Module.Axes)
	}
	m := c.Module
	m.Axes = nil
	if m != (survey.Module{Name: "puck", MassG: 24, RangeUT: 800, CableMM: 320, FootprintMM: r2.Vec{X: 38, Y: 38}, SensorHeightMM: 6, SensorOffsetMM: r2.Vec{X: 4}}) {
		t.Errorf("module %+v", m)
	}
	if c.Probe != nil || !slices.Equal(c.Heights, []float64{0}) || !slices.Equal(c.Body.Fitted, []string{"hatch shut", "pack A"}) {
		t.Errorf("probe %v, heights %v, fitted %q", c.Probe, c.Heights, c.Body.Fitted)
	}
	lead := c.Parts[2]
	if lead.AtMM != nil || lead.Load != "left thruster" || lead.GapMM != 12 || !slices.Equal(lead.PathMM, []r3.Vec{{X: 60, Z: 40}, {X: -280, Y: -120, Z: 60}}) {
		t.Errorf("lead %+v", lead)
	}
	battery := c.Parts[0]
	if *battery.AtMM != (r3.Vec{X: 60, Z: 40}) || battery.MassG != 430 || *battery.SlideMM != [2]float64{20, 110} || battery.ClearanceMM != 30 || battery.Magnetic {
		t.Errorf("battery %+v", battery)
	}
	if !c.Parts[1].Magnetic {
		t.Error("the hatch magnet is not magnetic")
	}
	if *c.Balance != (survey.Balance{CGXMM: [2]float64{-12, 4}, CGYMM: [2]float64{-4, 4}}) || c.Limits != (survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100, TiltDeg: 10, SlipMM: 3}) {
		t.Errorf("balance %+v, limits %+v", c.Balance, c.Limits)
	}
	if c.Cable.FromMM != (r2.Vec{}) || c.Cable.SlackMM != 20 || !slices.Equal(c.Cable.ViaMM, []r2.Vec{{X: -30, Y: 60}}) {
		t.Errorf("cable %+v", c.Cable)
	}
	if len(c.SHA256) != 64 || len(c.Remarks) != 0 {
		t.Errorf("hash %v, remarks %v", c.SHA256, c.Remarks)
	}
	if got := c.Combinations(); len(got) != 1 || !slices.Equal(got[0], []string{"left thruster", "right thruster"}) {
		t.Errorf("combinations %q", got)
	}
	outline := plane.Polygon{{X: 350, Y: 60}, {X: 350, Y: 180}, {X: -350, Y: 180}, {X: -350, Y: -180}, {X: 350, Y: -180}, {X: 350, Y: -60}}
	if !slices.Equal(c.Body.OutlineMM, outline) {
		t.Errorf("outline %v, want %v", c.Body.OutlineMM, outline)
	}
}

// The sensor stands 6 mm above the deck at z = -20 and 4 mm ahead of the
// middle of its case; z points down.
func TestSandpiperSensor(t *testing.T) {
	c := sandpiper(t)
	s, _ := c.Station("B3")
	if got, want := c.MeasuringModule().SensorAt(s.At, 0), (r3.Vec{X: 184, Y: -120, Z: -26}); got != want {
		t.Errorf("on the deck %+v, want %+v", got, want)
	}
	if got, want := c.MeasuringModule().SensorAt(s.At, 40), (r3.Vec{X: 184, Y: -120, Z: -66}); got != want {
		t.Errorf("raised by 40 mm %+v, want %+v", got, want)
	}
}

// The places were checked by hand: a 38 mm case on the catamaran.
func TestObstacles(t *testing.T) {
	c := sandpiper(t)
	for _, test := range []struct {
		at   r2.Vec
		want []survey.Obstacle
	}{
		{r2.Vec{X: -200, Y: 100}, nil},
		{r2.Vec{X: 331, Y: 161}, nil}, // 19 mm from both edges
		{r2.Vec{X: 332, Y: 161}, []survey.Obstacle{{Kind: survey.ObstacleOutline, Name: ""}}},
		{r2.Vec{X: 60, Y: 0}, []survey.Obstacle{{Kind: survey.ObstacleKeepout, Name: "hatch"}, {Kind: survey.ObstacleClearance, Name: "battery"}}},
		{r2.Vec{X: 60, Y: 69}, nil}, // touches the hatch, 50 mm from the battery
		{r2.Vec{X: 60, Y: 68}, []survey.Obstacle{{Kind: survey.ObstacleKeepout, Name: "hatch"}}},
		{r2.Vec{X: 0, Y: 0}, nil}, // the edge at x = 19, the hatch from 20 on, the battery at 60
	} {
		got := c.Obstacles(test.at)
		if len(got) != len(test.want) {
			t.Errorf("%v: %v, want %v", test.at, got, test.want)
			continue
		}
		for i := range got {
			if got[i] != test.want[i] {
				t.Errorf("%v: %v, want %v", test.at, got, test.want)
			}
		}
	}
	c.Parts[2].ClearanceMM = 30
	if got := c.Obstacles(r2.Vec{X: -110, Y: -60}); len(got) != 1 || got[0] != (survey.Obstacle{Kind: survey.ObstacleClearance, Name: "left lead"}) {
		t.Errorf("on the lead: %v", got)
	}
}

// A dihedral wing: the surface rises by 10 mm from the root to each tip.
func TestCraftSurface(t *testing.T) {
	c := sandpiper(t)
	c.Body.SurfacePoints = []r3.Vec{
		{X: 350, Y: -180, Z: -30}, {X: -350, Y: -180, Z: -30}, {X: 350, Z: -20}, {X: -350, Z: -20}, {X: 350, Y: 180, Z: -30}, {X: -350, Y: 180, Z: -30},
	}
	for name, want := range map[string]float64{"A1": -30, "D4": -20, "F7": -20 - 10*120.0/180, "mast": -240} {
		s, ok := c.Station(name)
		if !ok || math.Abs(s.At.Z-want) > 1e-9 {
			t.Errorf("%s at %+v, want z %g", name, s.At, want)
		}
	}
	if got := c.SurfaceZ(0, 500); got != -30 {
		t.Errorf("beyond the tip %g, want -30", got)
	}
	before := slices.Clone(c.Body.SurfacePoints)
	c.Surface()
	if !slices.Equal(before, c.Body.SurfacePoints) {
		t.Error("the surface changed the craft's points")
	}
}
