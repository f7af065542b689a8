package sim

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
	"quietmount/survey"
)

// plainWorld is a craft with one magnet, one wire and one mover under a
// field of (18, 0, 45).
func plainWorld() *World {
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
	return &World{
		Craft:   craft,
		Magnets: []source.Dipole{{AtMM: r3.Vec{X: 100}, MomentAm2: r3.Vec{Z: .05}}},
		Wires:   []Wire{{Load: "motor", Circuit: source.Pair{PathMM: []r3.Vec{{X: -200, Z: 40}, {X: 200, Z: 40}}, GapMM: 12, CurrentA: 1}.Circuit()}},
		Movers:  []Mover{{Load: "rudder", Rest: source.Dipole{AtMM: r3.Vec{X: -100}, MomentAm2: r3.Vec{X: .02}}, End: source.Dipole{AtMM: r3.Vec{X: -100}, MomentAm2: r3.Vec{Y: .02}}}},
		Room:    Room{Reference: r3.Vec{X: 18, Z: 45}},
	}
}

func near(t *testing.T, what string, got, want r3.Vec, tol float64) {
	t.Helper()
	if d := r3.Norm(r3.Sub(got, want)); !(d <= tol) {
		t.Errorf("%s: %v, want %v within %v", what, got, want, tol)
	}
}

func TestNoseTurnsTheReference(t *testing.T) {
	w := plainWorld()
	for nose, want := range map[float64]r3.Vec{
		0: {X: 18, Z: 45}, 90: {Y: -18, Z: 45}, 180: {X: -18, Z: 45}, 270: {Y: 18, Z: 45},
	} {
		near(t, "reference", w.Turned(nose).Field(r3.Vec{X: 5000}, 0, State{Away: true}), want, 1e-9)
	}
}

// A dipole of 1 A m2 gives 200 uT at 0.1 m on its axis (Griffiths, eq. 5.89).
func TestFieldIsTheSumOfItsParts(t *testing.T) {
	w := plainWorld()
	w.Magnets = []source.Dipole{{MomentAm2: r3.Vec{Z: -1}}}
	p := r3.Vec{Z: -100}
	calm := State{}
	base := w.Field(p, 0, State{Away: true})
	rest := w.Movers[0].Rest.Field(p)
	near(t, "magnet", r3.Sub(w.Field(p, 0, calm), r3.Add(base, rest)), r3.Vec{Z: -200}, 1e-9)
	on := State{Levels: map[string]float64{"motor": 15, "rudder": 1}}
	want := r3.Add(r3.Scale(15, w.Wires[0].Circuit.Field(p)), r3.Sub(w.Movers[0].End.Field(p), rest))
	near(t, "loads", r3.Sub(w.Field(p, 0, on), w.Field(p, 0, calm)), want, 1e-9)
	if r3.Norm(want) < 1 {
		t.Fatalf("loads are too weak to test anything: %v", want)
	}
	near(t, "half way", w.LoadField("rudder", .5, p), r3.Scale(.5, w.LoadField("rudder", 1, p)), 1e-9)
}

// The magnet turns with the craft, the iron's moment follows the room: with
// the nose turned by 180 degrees the level part of the iron's moment changes
// sign in the craft frame and the vertical part stays.
func TestSoftIronFollowsTheRoom(t *testing.T) {
	w := &World{Craft: plainWorld().Craft, Room: Room{Reference: r3.Vec{X: 18, Z: 45}}}
	w.Irons = []source.SoftIron{{Polarizability: source.SpherePolarizability(20, 500)}}
	p := r3.Vec{Z: -80} // above: the field is along x from the level moment, along z from the vertical one
	north, south := w.Steady(p), w.Turned(180).Steady(p)
	near(t, "turned", south, r3.Vec{X: -north.X, Y: -north.Y, Z: north.Z}, 1e-9)
	if math.Abs(north.X) < .1 || math.Abs(north.Z) < .1 {
		t.Fatalf("iron is too weak to test anything: %v", north)
	}
	m := plainWorld()
	near(t, "magnet", m.Turned(180).Steady(p), m.Steady(p), 1e-12)
}

// Without sources the room's field has neither divergence nor curl.
func TestRoomIsHarmonic(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	r := Room{Reference: r3.Vec{X: 18, Z: 45}, Gradient: HarmonicGradient(rng, .002), Iron: []source.Dipole{{AtMM: r3.Vec{X: 2000, Y: 500}, MomentAm2: r3.Vec{X: 300}}}}
	const h = 5. // the far iron's third derivative leaves errors of some 1e-7
	var j magmath.Mat3
	for c, e := range []r3.Vec{{X: h}, {Y: h}, {Z: h}} {
		p := r3.Vec{X: 100, Y: 50, Z: -30}
		d := r3.Scale(1/(2*h), r3.Sub(r.Field(r3.Add(p, e), 37), r.Field(r3.Sub(p, e), 37)))
		j[0][c], j[1][c], j[2][c] = d.X, d.Y, d.Z
	}
	for name, v := range map[string]float64{"div": j.Trace(), "curl x": j[2][1] - j[1][2], "curl y": j[0][2] - j[2][0], "curl z": j[1][0] - j[0][1]} {
		if math.Abs(v) > 1e-6 {
			t.Errorf("%s is %v uT/mm", name, v)
		}
	}
	if math.Abs(j[0][0])+math.Abs(j[0][1]) < 1e-4 {
		t.Error("no gradient at all")
	}
}

// Brownian motion: the variance grows in proportion to time. 600 walks of
// three components give it to 3.3 per cent (one standard error).
func TestRandomWalkWanders(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	var quarter, hour float64
	const n = 600
	for range n {
		d := RandomWalk(rng, 0.4)
		if d.At(0) != (r3.Vec{}) {
			t.Fatal("does not start at zero")
		}
		quarter += r3.Norm2(d.At(900)) / (3 * n)
		hour += r3.Norm2(d.At(3600)) / (3 * n)
	}
	if math.Abs(hour/.16-1) > .14 || math.Abs(quarter/.04-1) > .14 {
		t.Errorf("variance %v after a quarter, %v after an hour; want 0.04 and 0.16", quarter, hour)
	}
	step := Drift{Steps: []Step{{AtS: 100, StepUT: r3.Vec{Y: 2}}}}
	if step.At(99.9) != (r3.Vec{}) || step.At(100).Y != 2 {
		t.Error("the parked tool came too early or too late")
	}
}
