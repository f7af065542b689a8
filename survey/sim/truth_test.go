package sim

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Two loads that may run together add up, and a set in which they cancel does
// not hide either of them.
func TestWorstCombination(t *testing.T) {
	w, err := Sandpiper(1)
	if err != nil {
		t.Fatal(err)
	}
	p := r3.Vec{X: 64, Z: -26}
	left, right := w.LoadField("left thruster", 18, p), w.LoadField("right thruster", 18, p)
	d, names := w.Shifting(p)
	near(t, "both", d, r3.Add(left, right), 1e-12)
	if len(names) != 2 {
		t.Errorf("combination %q", names)
	}
	if want := math.Asin(math.Hypot(d.X, d.Y)/w.HUT()) * 180 / math.Pi; w.ShiftingErrorDeg(p) != want {
		t.Errorf("error %v, want %v", w.ShiftingErrorDeg(p), want)
	}
	w.Wires[1] = w.Wires[0]
	w.Wires[1].Load = "right thruster"
	w.Wires[1].Circuit.CurrentA = -1
	if d, names = w.Shifting(p); len(names) != 1 || math.Abs(math.Hypot(d.X, d.Y)-math.Hypot(left.X, left.Y)) > 1e-12 {
		t.Errorf("cancelling loads: %v from %q, want one of them alone", d, names)
	}
	w.Room.Reference.X = 1
	if got := w.ShiftingErrorDeg(p); got != 180 {
		t.Errorf("error %v where the disturbance is larger than H", got)
	}
}
