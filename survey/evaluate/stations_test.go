package evaluate

import (
	"slices"
	"strings"
	"testing"

	"quietmount/survey"
)

// Two motors of 2 uT each make 4, not 2.
func TestLoadsAddUp(t *testing.T) {
	c := &survey.Craft{Loads: []survey.Load{
		{Name: "left", Kind: survey.LoadCurrent, MaxCurrentA: 1, TogetherWith: []string{"right"}},
		{Name: "right", Kind: survey.LoadCurrent, MaxCurrentA: 1, TogetherWith: []string{"left"}},
		{Name: "winch", Kind: survey.LoadCurrent, MaxCurrentA: 1},
	}}
	at := map[string]Estimate{"left": {}, "right": {}, "winch": {}}
	w := NewWorst(c, at)
	var got []string
	for _, combo := range w.Combos {
		var names []string
		for _, k := range combo {
			names = append(names, w.Names[k])
		}
		got = append(got, strings.Join(names, "+"))
	}
	slices.Sort(got)
	if want := []string{"left", "left+right", "right", "winch"}; !slices.Equal(got, want) {
		t.Errorf("combinations %v, want %v", got, want)
	}
}
