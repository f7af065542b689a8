package findings

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// By hand: a lead along x at z = 0 from 0 to 100, its return 30 to the right.
func TestNothingIsPredictedOnALead(t *testing.T) {
	p := survey.Part{PathMM: []r3.Vec{{}, {X: 100}}, GapMM: 14}
	for _, c := range []struct {
		name string
		at   r3.Vec
		back []r3.Vec
		want bool
	}{
		{"between the conductors", r3.Vec{X: 50, Y: 6}, nil, false},
		{"beyond the gap", r3.Vec{X: 50, Y: 8, Z: -12}, nil, true},
		{"past its end", r3.Vec{X: 115}, nil, true},
		{"at its end", r3.Vec{X: 109}, nil, false},
		{"beside the return", r3.Vec{X: 50, Y: 39}, []r3.Vec{{X: 100, Y: 30}, {Y: 30}}, false},
	} {
		p.ReturnPathMM = c.back
		if got := leadClear(p, c.at); got != c.want {
			t.Errorf("%s: clear %v", c.name, got)
		}
	}
}
