package sources

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// A magnet in a control surface's drive turns with it: between its two ends
// the field changes by that of a dipole at the part's place, which carries the
// load's name or says that it belongs to it.
func TestMoverIsADipoleChangeAtItsPart(t *testing.T) {
	for name, part := range map[string]survey.Part{
		"by its name": {Name: "rudder drive"},
		"by its load": {Name: "servo", Load: "rudder drive"},
	} {
		w := walktest.Sandpiper(t, 4)
		at := r3.Vec{X: -180, Y: 40, Z: 10}
		part.AtMM = &at
		w.Craft.Parts = append(w.Craft.Parts, part)
		w.Craft.Loads = append(w.Craft.Loads, survey.Load{Name: "rudder drive", Kind: survey.LoadMoving})
		rest, end := r3.Vec{X: 0.05}, r3.Vec{X: 0.03, Y: 0.04}
		w.Movers = append(w.Movers, sim.Mover{Load: "rudder drive", Rest: source.Dipole{AtMM: at, MomentAm2: rest}, End: source.Dipole{AtMM: at, MomentAm2: end}})
		run := trial.Captures(w, sim.DefaultProbe(), sim.DefaultHand(), trial.RunOptions{
			Number: 1, State: "rudder drive", CurrentA: 1, Pulsed: true, Labels: true, Stations: w.Craft.Stations(), Started: walktest.Day, Seed: 9,
			Rhythm: logbook.Rhythm{Pulses: 4, OnS: 1, OffS: 1, DropS: 0.3},
		})
		f := evaluatetest.Evaluate(t, w.Craft, []*logbook.Run{run})
		found, err := Find(t.Context(), f)
		if err != nil || len(found.States) != 1 || len(found.States[0].Sources) == 0 {
			t.Fatalf("%s: %+v, %v", name, found, err)
		}
		s := found.States[0].Sources[0]
		if s.Name != part.Name || s.Kind != source.KindDipole || r3.Norm(r3.Sub(s.MomentAm2, r3.Sub(end, rest))) > 0.005 {
			t.Errorf("%s: %s %q of %.4f, want the change %.4f", name, s.Kind, s.Name, s.MomentAm2, r3.Sub(end, rest))
		}
		if s.BudgetUT != f.ShiftingBudgetUT() || !(s.SafeUpper95MM.Budget > s.SafeMM.Budget) {
			t.Errorf("%s: safe at %.0f, bound %.0f mm for %.2f uT", name, s.SafeMM.Budget, s.SafeUpper95MM.Budget, s.BudgetUT)
		}
	}
}
