package siting

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// hull is an L: the square of 100 less its upper right quarter.
var hull = []r2.Vec{{}, {X: 100}, {X: 100, Y: 50}, {X: 50, Y: 50}, {X: 50, Y: 100}, {Y: 100}}

func TestFootprintInAndOut(t *testing.T) {
	size := r2.Vec{X: 20, Y: 20}
	for _, c := range []struct {
		name          string
		at            r2.Vec
		inside, meets bool
	}{
		{"in the middle", r2.Vec{X: 25, Y: 25}, true, true},
		{"flush with two edges", r2.Vec{X: 10, Y: 10}, true, true},
		{"over the edge", r2.Vec{X: 5, Y: 25}, false, true},
		{"over the inner corner", r2.Vec{X: 55, Y: 45}, false, true},
		{"in the missing quarter", r2.Vec{X: 75, Y: 75}, false, false},
		{"beside, flush", r2.Vec{X: -10, Y: 30}, false, false},
		{"away", r2.Vec{X: 300, Y: 30}, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := FootprintInside(hull, c.at, size); got != c.inside {
				t.Errorf("inside: %v", got)
			}
			if got := FootprintMeets(hull, c.at, size); got != c.meets {
				t.Errorf("meets: %v", got)
			}
		})
	}
	// A keep-out that lies within the footprint meets it.
	if !FootprintMeets([]r2.Vec{{X: -1, Y: -1}, {X: 1, Y: -1}, {Y: 1}}, r2.Vec{X: 4}, size) {
		t.Error("a small polygon under the foot is missed")
	}
	if Inside(nil, r2.Vec{}) || FootprintInside(hull[:2], r2.Vec{}, size) {
		t.Error("no polygon holds a place")
	}
}

func TestToEdgeAndBounds(t *testing.T) {
	near(t, "edge", ToEdge(hull, r2.Vec{X: 40, Y: 60}), 10, 1e-12)
	low, high := Bounds(hull)
	if low != (r2.Vec{}) || high != (r2.Vec{X: 100, Y: 100}) {
		t.Errorf("bounds %v %v", low, high)
	}
}
