package plane

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// The depth is the largest distance from the edge on a fine grid over the box; a
// square box that reaches d over one side of a wide square is d deep.
func TestDepth(t *testing.T) {
	square := Polygon{{X: 100, Y: 100}, {X: 0, Y: 100}, {}, {X: 100}}
	hook := Polygon{{}, {X: 90}, {X: 90, Y: 80}, {X: 60, Y: 80}, {X: 60, Y: 30}, {Y: 30}}
	for _, c := range []struct {
		name string
		p    Polygon
		b    r2.Box
		want float64 // NaN: by the grid alone
	}{
		{"over one side", square, r2.NewBox(-20, 40, 12, 60), 12},
		{"over a corner", square, r2.NewBox(-20, -20, 9, 14), 9},
		{"all of it", square, r2.NewBox(-20, -20, 120, 120), 50},
		{"beside it", square, r2.NewBox(-20, 0, -5, 20), 0},
		{"a place", square, r2.NewBox(30, 40, 30, 40), 30},
		{"a hook", hook, r2.NewBox(40, 10, 84, 70), math.NaN()},
	} {
		t.Run(c.name, func(t *testing.T) {
			grid := 0.0
			const n = 160
			for i := range n + 1 {
				for j := range n + 1 {
					size := r2.Sub(c.b.Max, c.b.Min)
					q := r2.Add(c.b.Min, r2.Vec{X: size.X * float64(i) / n, Y: size.Y * float64(j) / n})
					if c.p.Contains(q) {
						grid = max(grid, c.p.Distance(q))
					}
				}
			}
			got := c.p.Depth(c.b)
			if got < grid-1e-9 || got > grid+1 || math.Abs(got-c.want) > 0.1 {
				t.Errorf("%g, want %g, by the grid %g", got, c.want, grid)
			}
		})
	}
}
