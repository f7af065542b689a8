package evaluate

import (
	"reflect"
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

// Whichever of two loads can reverse, and in whatever order the craft file has them,
// the combinations reach every field that can occur, or its opposite: compared with
// all signs written out.
func TestReversingReachesEveryField(t *testing.T) {
	for reverses := range 8 {
		c := &survey.Craft{}
		at := map[string]bool{}
		names := []string{"a", "b", "c"}
		for i, n := range names {
			others := slices.DeleteFunc(slices.Clone(names), func(o string) bool { return o == n })
			c.Loads = append(c.Loads, survey.Load{Name: n, Kind: survey.LoadCurrent, TogetherWith: others, Reverses: reverses>>i&1 == 1})
			at[n] = true
		}
		// One field a load, so that every sum of them is another number.
		field := []int{1, 10, 100}
		got, want := map[int]bool{}, map[int]bool{}
		for _, combo := range NewWorst(c, at).Combos {
			sum := 0
			for _, k := range combo {
				if k < 0 {
					sum -= field[^k]
				} else {
					sum += field[k]
				}
			}
			got[max(sum, -sum)] = true
		}
		for state := range 27 {
			sum, can := 0, true
			for i, s := 0, state; i < 3; i, s = i+1, s/3 {
				level := s%3 - 1
				can = can && (level >= 0 || c.Loads[i].Reverses)
				sum += level * field[i]
			}
			if can && sum != 0 {
				want[max(sum, -sum)] = true
			}
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("reversing %03b: %v, want %v", reverses, got, want)
		}
	}
}
