package sim

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

func TestFolderHasEveryRun(t *testing.T) {
	w, err := Sandpiper(1)
	if err != nil {
		t.Fatal(err)
	}
	runs := Folder(w, DefaultProbe(), DefaultHand(), FolderOptions{Pulsed: true, CurrentPart: .5, Stations: w.Craft.Stations()[:20], Started: noon})
	var states []string
	for i, r := range runs {
		states = append(states, r.Header.State)
		if r.Header.Run != i+1 || r.Header.CraftSHA256 != w.Craft.SHA256 {
			t.Errorf("header %+v", r.Header)
		}
		if i > 0 && !r.Header.Started.After(runs[i-1].Captures[len(runs[i-1].Captures)-1].Time) {
			t.Errorf("run %d begins before the one before it ends", i+1)
		}
	}
	if want := []string{survey.StateBackground, survey.StateUnpowered, "left thruster", "right thruster"}; !slices.Equal(states, want) {
		t.Fatalf("states %q, want %q", states, want)
	}
	count := func(r *logbook.Run, v logbook.Visit) (n int) {
		for _, c := range r.Captures {
			if c.Visit == v {
				n++
			}
		}
		return n
	}
	if b, u := count(runs[0], logbook.VisitStation), count(runs[1], logbook.VisitRepeat); b != 8 || u != 2 {
		t.Errorf("%d background stations and %d repeats, want 8 and 2", b, u)
	}
	if count(runs[1], logbook.VisitBase) != 3 || *runs[2].Header.CurrentA != 9 || !runs[2].Header.Pulsed {
		t.Errorf("%d base returns, %v A", count(runs[1], logbook.VisitBase), runs[2].Header.CurrentA)
	}
}

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
