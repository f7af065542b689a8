// Package logbooktest makes the folder of an invented craft with runs and
// captures in it. Only tests import it.
package logbooktest

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// Craft is an invented catamaran.
const Craft = `name = "Sandpiper"
[site]
latitude_deg = 53.30
longitude_deg = -9.10
[module]
name = "puck"
range_ut = 800
axes = ["+x", "+y", "+z"]
[craft]
outline_mm = [[350, 180], [-350, 180], [-350, -180], [350, -180]]
surface_z_mm = -20
[grid]
spacing_mm = 60
[base]
name = "T"
at_mm = [700, 0, -20]
[[load]]
name = "left thruster"
kind = "current"
max_current_a = 18
[[load]]
name = "rudder"
kind = "moving"
`

// Start is when the invented runs begin, in local time of +02:00.
var Start = time.Date(2026, 6, 1, 9, 30, 0, 123456789, time.FixedZone("", 2*3600))

// Folder is a craft folder with the craft file only.
func Folder(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, craftfile.Name), []byte(Craft), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// Header is the header of a run of the invented craft in a state.
func Header(state string) logbook.Header {
	axes := magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}
	return logbook.Header{
		Craft: "Sandpiper", CraftSHA256: "ab12", State: state, Probe: "puck", Axes: &axes,
		Port: "ttyX0", Decoder: "text", Tool: "0.0.0", Started: Start, Session: "morning",
	}
}

// Capture makes n samples of invented noise about an invented field.
func Capture(rng *rand.Rand, number, n int, has survey.Has) logbook.Capture {
	c := logbook.Capture{
		Number: number, Station: "B2", At: r3.Vec{X: 60, Y: -60, Z: -20}, Visit: logbook.VisitStation,
		Time: Start.Add(time.Duration(number) * time.Minute),
		BUT:  r3.Vec{X: 17.25, Y: -3.5, Z: 44.125}, UncertaintyUT: 0.03,
	}
	for i := range n {
		s := survey.Sample{TS: float64(number)*60 + float64(i)/20, Has: has,
			B: r3.Vec{X: 17.25 + rng.NormFloat64(), Y: -3.5 + rng.NormFloat64(), Z: 44 + rng.NormFloat64()}}
		if has&survey.HasAcc != 0 {
			s.Acc = r3.Vec{X: rng.NormFloat64() / 100, Y: rng.NormFloat64() / 100, Z: -1}
		}
		if has&survey.HasCurrent != 0 {
			s.CurrentA = rng.Float64() * 12
		}
		if has&survey.HasLoadOn != 0 {
			s.LoadOn = i%20 >= 10
		}
		c.Samples = append(c.Samples, s)
	}
	return c
}

// Append writes captures 1 to n of 8 samples each.
func Append(t testing.TB, w *logbook.RunWriter, n int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(7, 0))
	for i := range n {
		if err := w.Append(Capture(rng, i+1, 8, 0)); err != nil {
			t.Fatal(err)
		}
	}
}

// Create begins a run that is closed when the test ends.
func Create(t testing.TB, dir string, h logbook.Header) *logbook.RunWriter {
	t.Helper()
	w, err := logbook.CreateRun(dir, h)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Close() })
	return w
}

// Close closes a run; an error ends the test.
func Close(t testing.TB, w *logbook.RunWriter) {
	t.Helper()
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// ReadBack is the run in a file.
func ReadBack(t testing.TB, path string) *logbook.Run {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	run, err := logbook.ReadRun(f, path)
	if err != nil {
		t.Fatal(err)
	}
	return run
}

const (
	HeaderLine  = `{"kind":"header","format":1,"run":1,"state":"unpowered","started":"2026-06-01T09:30:00+02:00"}` + "\n"
	CaptureLine = `{"kind":"capture","capture":1,"station":"B2","x_mm":60,"y_mm":-60,"z_mm":-20,"visit":"station","time":"2026-06-01T09:31:00+02:00",` +
		`"columns":["t_s","bx_ut","by_ut","bz_ut"],"samples":[[0,17,-3,44],[0.05,17.5,-3.25,44]],"b_ut":[17.25,-3.125,44],"standard_uncertainty_ut":0.1}` + "\n"
)
