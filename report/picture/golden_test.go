package picture

import (
	"bytes"
	"flag"
	"image/png"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/report/internal/look"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

var update = flag.Bool("update", false, "rewrite the golden pictures")

// goldens are pictures of invented craft whose fields are closed forms, so
// that only a change of drawing changes them.
func goldens(t *testing.T) map[string]*draw.Picture {
	t.Helper()
	c := inventedHull()
	hill := example.Bump{Middle: r3.Vec{X: 90, Y: -70, Z: -26}, Peak: 14, Width: 60, Ground: 0.3, SD: 0.1, Grow: 0.002}
	f := example.Findings(c, hill, example.Bump{Middle: r3.Vec{X: -100, Y: 60, Z: -26}, Peak: 130, Width: 50, Ground: 1.5, SD: 0.3})
	f.Runs = append(f.Runs, &logbook.Run{Header: logbook.Header{Run: 2, State: survey.StateUnpowered}})
	ranking := &rank.Ranking{Spots: []rank.Spot{
		{Rank: 1, At: r3.Vec{X: -130, Y: -60}, PlacementToleranceMM: 22},
		{Rank: 2, At: r3.Vec{X: 40, Y: 80}, PlacementToleranceMM: 12},
	}}
	out := map[string]*draw.Picture{"description": Description(c)}
	for _, part := range []string{PartShifting, PartSteady, PartMagnitude} {
		p, err := Map(t.Context(), f, ranking, MapOptions{Part: part})
		if err != nil {
			t.Fatal(err)
		}
		out[part] = p
	}
	maps := panelPictures(t, twoLoads(f), ranking)
	for name, p := range maps {
		out[name] = p
	}
	out["load-chart"] = loadChartOf(t)
	out["calibration"] = calibrationPicture(t, turned())
	return out
}

// inventedHull is a pointed hull with one of everything.
func inventedHull() *survey.Craft {
	return &survey.Craft{
		Name: "Invented hull",
		Body: survey.Body{
			OutlineMM: plane.Polygon{{X: 240}, {X: 120, Y: 110}, {X: -220, Y: 120}, {X: -180}, {X: -220, Y: -120}, {X: 120, Y: -110}}, SurfaceZMM: -20},
		Heights:  []float64{0, 40},
		Module:   survey.Module{Name: "puck", FootprintMM: r2.Vec{X: 38, Y: 30}, SensorHeightMM: 6, SensorOffsetMM: r2.Vec{X: 4}, CableMM: 300},
		Grid:     &survey.Grid{SpacingMM: 55},
		Singles:  []survey.Station{{Name: "mast", At: r3.Vec{X: -20, Y: 18, Z: -200}}},
		Base:     &survey.Station{Name: "T", At: r3.Vec{X: 500, Y: -400}},
		Keepouts: []survey.Keepout{{Name: "hatch", OutlineMM: plane.Polygon{{X: 60, Y: -30}, {X: 60, Y: 30}, {X: 0, Y: 30}, {X: 0, Y: -30}}}},
		Parts: []survey.Part{
			{Name: "battery", AtMM: &r3.Vec{X: -60}, MassG: 400, ClearanceMM: 30, SlideMM: &[2]float64{-90, -30}},
			{Name: "latch", AtMM: &r3.Vec{X: 50}, Magnetic: true},
			{Name: "port lead", PathMM: []r3.Vec{{X: -60, Y: -10}, {X: -190, Y: -90}}, Load: "motor", ReturnPathMM: []r3.Vec{{X: -60, Y: 10}, {X: -190, Y: -80}}},
		},
		Cable:  &survey.Cable{FromMM: r2.Vec{X: -100, Y: 40}, ViaMM: []r2.Vec{{X: -60, Y: 60}}, SlackMM: 20},
		Limits: survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100},
	}
}

// TestGolden compares the layout, line by line, and the picture at a low
// resolution. Run with -update after looking at the new pictures.
func TestGolden(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "golden")
	for name, p := range goldens(t) {
		t.Run(name, func(t *testing.T) {
			text := strings.Join(p.Layout(), "\n") + "\n"
			img, err := p.Pixels(80)
			if err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			if err := png.Encode(&b, img); err != nil {
				t.Fatal(err)
			}
			keep(t, "golden-"+name+".png", p)
			if *update {
				look.Write(t, filepath.Join(dir, name+".txt"), []byte(text))
				look.Write(t, filepath.Join(dir, name+".png"), b.Bytes())
				return
			}
			if want := string(look.Read(t, filepath.Join(dir, name+".txt"))); text != want {
				t.Errorf("layout differs:\n%s", firstDifference(text, want))
			}
			want := look.Decoded(t, look.Read(t, filepath.Join(dir, name+".png")))
			if d := look.Difference(t, img, want); d > 0.002 {
				file := filepath.Join(t.ArtifactDir(), name+".png")
				look.Write(t, file, b.Bytes())
				t.Errorf("%.4f of the pixels differ; got %s", d, file)
			}
		})
	}
}

func firstDifference(got, want string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(g), len(w)) {
		if g[i] != w[i] {
			return "got  " + g[i] + "\nwant " + w[i]
		}
	}
	return "one is longer"
}
