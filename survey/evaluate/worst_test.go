package evaluate

import (
	"slices"
	"testing"

	"quietmount/survey"
)

// Two motors that oppose one another while both run forward disturb most with one
// reversed; the combination says which.
func TestReversedLoadsAreNamed(t *testing.T) {
	c := &survey.Craft{Loads: []survey.Load{
		{Name: "left", Kind: survey.LoadCurrent, TogetherWith: []string{"right"}},
		{Name: "right", Kind: survey.LoadCurrent, TogetherWith: []string{"left"}, Reverses: true},
	}}
	w := NewWorst(c, map[string]bool{"left": true, "right": true})
	opposed := -1
	for i, combo := range w.Combos {
		reversed := w.ReversedOf(combo)
		if len(reversed) > 1 || len(reversed) == 1 && reversed[0] != "right" {
			t.Errorf("%v: reversed %v", combo, reversed)
		}
		if len(reversed) == 1 && opposed < 0 {
			opposed = i
		}
	}
	if opposed < 0 || !slices.Equal(w.NamesOf(w.Combos[opposed]), []string{"left", "right"}) {
		t.Errorf("no combination with the right motor reversed: %v", w.Combos)
	}
}
