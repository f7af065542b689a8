package whatif

import (
	"errors"
	"slices"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/rank"
)

// A longer cable and a higher mount change where the module may be mounted and nothing
// else: the field, the stations and the craft that was given stay.
func TestCableAndHeightChangeOnlyThePlaces(t *testing.T) {
	w, _, f := evaluatetest.Catamaran(t, 11)
	long := w.Craft.Module.CableMM + 200
	c := Changes{CableMM: &long, HeightsMM: []float64{70, w.Craft.Heights[0]}}
	if !c.KeepField() {
		t.Error("the field does not stay")
	}
	after, notes, err := Predict(t.Context(), f, c)
	if err != nil {
		t.Fatal(err)
	}
	if after.Map.Steady != f.Map.Steady || len(after.Map.Loads) != len(f.Map.Loads) {
		t.Error("the map changed")
	}
	if after.Craft.Module.CableMM != long || !slices.Contains(after.Craft.Heights, 70) || slices.Contains(f.Craft.Heights, 70) || f.Craft.Module.CableMM == long {
		t.Errorf("after: cable %g, heights %v; before: %g, %v", after.Craft.Module.CableMM, after.Craft.Heights, f.Craft.Module.CableMM, f.Craft.Heights)
	}
	if !remark.Has(notes, "whatif.height_allowed") {
		t.Errorf("nothing is said of a height that was allowed: %v", notes)
	}
	before, err := rank.Rank(t.Context(), f, rank.Options{StepMM: 24, Next: -1})
	if err != nil {
		t.Fatal(err)
	}
	now, err := rank.Rank(t.Context(), after, rank.Options{StepMM: 24, Next: -1})
	if err != nil {
		t.Fatal(err)
	}
	if now.Spots[0].Expected > before.Spots[0].Expected+0.05 {
		t.Errorf("with more room the best spot got worse: %.3f after %.3f degrees", now.Spots[0].Expected, before.Spots[0].Expected)
	}
	if _, _, err := Predict(t.Context(), f, Changes{}); !errors.Is(err, ErrNoChange) {
		t.Errorf("no change: %v", err)
	}
}
