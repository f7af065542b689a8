package trial

import (
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// A craft as built has the strengths of its drawing and closed circuits, lies
// within millimetres of it, and differs from it next to a lead and not far
// away. The drawing stays as it was.
func TestRoughKeepsStrengthsAndClosesCircuits(t *testing.T) {
	for seed := range uint64(8) {
		drawn, err := Random(seed, Families()[seed%4], false)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Random(seed, Families()[seed%4], false)
		if err != nil {
			t.Fatal(err)
		}
		built := drawn.Rough()
		if !reflect.DeepEqual(drawn.World, again.World) {
			t.Fatalf("seed %d: the drawing was changed", seed)
		}
		if !reflect.DeepEqual(built.World, drawn.Rough().World) {
			t.Errorf("seed %d: the same craft is built otherwise a second time", seed)
		}
		var want, got r3.Vec
		for _, m := range drawn.World.Magnets {
			want = r3.Add(want, m.MomentAm2)
		}
		for _, m := range built.World.Magnets {
			got = r3.Add(got, m.MomentAm2)
		}
		if r3.Norm(r3.Sub(want, got)) > 1e-12 {
			t.Errorf("seed %d: moments of %v became %v", seed, want, got)
		}
		for i, c := range drawn.World.Wires {
			sagged, loop := built.World.Wires[2*i].Circuit.PathMM, built.World.Wires[2*i+1].Circuit.PathMM
			for _, path := range [][]r3.Vec{sagged, loop} {
				if path[0] != path[len(path)-1] {
					t.Errorf("seed %d: circuit %d is open", seed, i)
				}
			}
			off := 0.0
			for _, p := range sagged {
				off = max(off, offPath(c.Circuit.PathMM, p))
			}
			if off < 0.5 || off > 12 {
				t.Errorf("seed %d: lead %d lies up to %.1f mm off its drawing", seed, i, off)
			}
			middle := r3.Scale(0.5, r3.Add(c.Circuit.PathMM[0], c.Circuit.PathMM[1]))
			near := change(drawn, built, c.Load, r3.Add(middle, r3.Vec{Z: -30}))
			far := change(drawn, built, c.Load, r3.Add(middle, r3.Vec{Z: -400}))
			if near < 0.01 || far > near/4 {
				t.Errorf("seed %d: a rough lead changes %.3f uT near it and %.3f far away", seed, near, far)
			}
		}
	}
}

// offPath is how far p lies from a path, mm.
func offPath(path []r3.Vec, p r3.Vec) float64 {
	best := math.Inf(1)
	for i := 1; i < len(path); i++ {
		d := r3.Sub(path[i], path[i-1])
		s := 0.0
		if n := r3.Norm2(d); n > 0 {
			s = min(1, max(0, r3.Dot(d, r3.Sub(p, path[i-1]))/n))
		}
		best = min(best, r3.Norm(r3.Sub(p, r3.Add(path[i-1], r3.Scale(s, d)))))
	}
	return best
}

// change is by how much a load's field at p differs between the two, uT at 20 A.
func change(drawn, built *Trial, load string, p r3.Vec) float64 {
	return r3.Norm(r3.Sub(built.World.LoadField(load, 20, p), drawn.World.LoadField(load, 20, p)))
}
