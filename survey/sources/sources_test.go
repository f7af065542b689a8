package sources

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/walktest"
)

// On the invented catamaran the named magnet and both leads are found as
// such, the battery is guessed, and the magnet that nobody wrote down is
// located; safe distances follow from the true strengths.
func TestSourcesOfTheCatamaran(t *testing.T) {
	w, _, f := evaluatetest.Catamaran(t, 3)
	got, err := Find(t.Context(), f)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range got.States {
		t.Logf("%s: unexplained %.2f, scale %.2f, quiet %v, lone %v, alike %v", s.State, s.Unexplained, s.Scale, s.Quiet, s.Lone, s.Alike)
		for _, c := range s.Sources {
			t.Logf("  %s %q (%s) at %.0f +- %.1f, moment %.3f, %.1f A, share %.2f, safe %.0f %.0f %.0f, stray %.0f, near %+v",
				c.Kind, c.Name, c.Probably, c.AtMM, math.Sqrt(c.AtCov.Trace()/3), c.MomentAm2, c.CurrentA, c.Share, c.SafeMM.Budget, c.SafeMM.Standard, c.SafeMM.Reduced, c.StrayMM, c.Nearest)
		}
		for _, c := range s.Nothing {
			t.Logf("  nothing: %s p %.2g", c.Name, c.P)
		}
	}
	for _, n := range got.Notes {
		t.Log(n)
	}
	if got.States[0].State != survey.StateUnpowered || len(got.States) != 1+len(w.Craft.Loads) {
		t.Fatalf("%d states", len(got.States))
	}
	for i, m := range w.Magnets {
		k := nearestSource(got.States[0].Sources, m.AtMM)
		if k < 0 {
			t.Fatalf("no steady source")
		}
		c := got.States[0].Sources[k]
		// Soft iron at the battery adds to its magnet's moment.
		if d := r3.Norm(r3.Sub(c.AtMM, m.AtMM)); d > 5 {
			t.Errorf("magnet %d at %.0f: nearest source is %.1f mm away", i, m.AtMM, d)
		}
		if want := []string{"hatch magnet", "battery", ""}[i]; c.Name != want {
			t.Errorf("magnet %d is %q, want %q", i, c.Name, want)
		}
		if i == 1 {
			continue
		}
		if d := r3.Norm(r3.Sub(c.MomentAm2, m.MomentAm2)); d > 0.1*r3.Norm(m.MomentAm2) {
			t.Errorf("magnet %d: moment %.4f, truth %.4f", i, c.MomentAm2, m.MomentAm2)
		}
		// Twice the moment over the cube of the distance, 100 uT the limit.
		if b := 2e8 * r3.Norm(m.MomentAm2) / math.Pow(c.SafeMM.Budget, 3); math.Abs(b-100) > 15 {
			t.Errorf("magnet %d: %.0f uT at its safe distance", i, b)
		}
	}
	for _, s := range got.States[1:] {
		if len(s.Sources) == 0 || s.Sources[0].Kind != "lead" || s.Sources[0].Share < 0.9 {
			t.Errorf("%s: the lead is not what explains it", s.State)
			continue
		}
		if c := s.Sources[0]; math.Abs(c.CurrentA-18) > 2 || c.Name[:4] != s.State[:4] {
			t.Errorf("%s: %s with %.1f A", s.State, c.Name, c.CurrentA)
		}
	}
	if got.Unexplained > 0.05 {
		t.Errorf("%.2f is left unexplained", got.Unexplained)
	}
}

func nearestSource(all []Source, at r3.Vec) int {
	best, size := -1, math.Inf(1)
	for i, c := range all {
		if d := r3.Norm(r3.Sub(c.AtMM, at)); d < size {
			best, size = i, d
		}
	}
	return best
}

// Without vectors there is a clear refusal, not an empty answer.
func TestNoVectorsNoSources(t *testing.T) {
	w := walktest.Sandpiper(t, 4)
	runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 4, true)
	var unpowered []*logbook.Run
	for _, r := range runs {
		if r.Header.State == survey.StateUnpowered {
			unpowered = append(unpowered, r)
		}
	}
	f := evaluatetest.Evaluate(t, w.Craft, unpowered)
	if _, err := Find(t.Context(), f); !errors.Is(err, ErrNoVectors) {
		t.Errorf("%v, want %v", err, ErrNoVectors)
	}
}
