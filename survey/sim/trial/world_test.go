package trial

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/sim"
)

// plainWorld is a craft with one magnet, one wire and one mover under a
// field of (18, 0, 45).
func plainWorld() *sim.World {
	axes := magmath.Identity()
	craft := &survey.Craft{
		Name:   "invented",
		Module: survey.Module{Name: "puck", SensorHeightMM: 6, SensorOffsetMM: r2.Vec{X: 4}, Axes: &axes},
		Base:   &survey.Station{Name: "T", At: r3.Vec{X: 700}},
		Loads: []survey.Load{
			{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 20},
			{Name: "rudder", Kind: survey.LoadMoving},
		},
	}
	return &sim.World{
		Craft:   craft,
		Magnets: []source.Dipole{{AtMM: r3.Vec{X: 100}, MomentAm2: r3.Vec{Z: .05}}},
		Wires:   []sim.Wire{{Load: "motor", Circuit: source.Pair{PathMM: []r3.Vec{{X: -200, Z: 40}, {X: 200, Z: 40}}, GapMM: 12, CurrentA: 1}.Circuit()}},
		Movers:  []sim.Mover{{Load: "rudder", Rest: source.Dipole{AtMM: r3.Vec{X: -100}, MomentAm2: r3.Vec{X: .02}}, End: source.Dipole{AtMM: r3.Vec{X: -100}, MomentAm2: r3.Vec{Y: .02}}}},
		Room:    sim.Room{Reference: r3.Vec{X: 18, Z: 45}},
	}
}

func near(t *testing.T, what string, got, want r3.Vec, tol float64) {
	t.Helper()
	if d := r3.Norm(r3.Sub(got, want)); !(d <= tol) {
		t.Errorf("%s: %v, want %v within %v", what, got, want, tol)
	}
}

// line returns n stations in a row, 60 mm apart.
func line(n int) []survey.Station {
	out := make([]survey.Station, n)
	for i := range out {
		out[i] = survey.Station{Name: string(rune('A' + i)), At: r3.Vec{X: 60 * float64(i), Y: 30}}
	}
	return out
}

var noon = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
