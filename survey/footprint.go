package survey

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Footprint is the area that m covers when the middle of its foot stands at
// at, arrow to the nose.
func (m Module) Footprint(at r2.Vec) r2.Box {
	half := r2.Scale(0.5, m.FootprintMM)
	return r2.Box{Min: r2.Sub(at, half), Max: r2.Add(at, half)}
}

// ContainsBox reports whether the box b (Min not above Max) lies inside p or
// on its edge.
func (p Polygon) ContainsBox(b r2.Box) bool {
	for _, corner := range b.Vertices() {
		if !p.Contains(corner) {
			return false
		}
	}
	return !p.cuts(b)
}

// OverlapsBox reports whether the box b and p have an area in common, or for a
// box without an area, whether its middle lies inside p. Touching is not
// overlapping.
func (p Polygon) OverlapsBox(b r2.Box) bool {
	middle := r2.Scale(0.5, r2.Add(b.Min, b.Max))
	if p.inside(middle) && p.Distance(middle) > onEdgeMM {
		return true
	}
	return p.cuts(b)
}

// cuts reports whether an edge of p passes through the inside of b, more than
// onEdgeMM from its sides.
func (p Polygon) cuts(b r2.Box) bool {
	margin := r2.Vec{X: onEdgeMM, Y: onEdgeMM}
	b = r2.Box{Min: r2.Add(b.Min, margin), Max: r2.Sub(b.Max, margin)}
	if b.Min.X >= b.Max.X || b.Min.Y >= b.Max.Y {
		return false
	}
	for i := range p {
		if segmentCutsBox(p[i], p[(i+1)%len(p)], b) {
			return true
		}
	}
	return false
}

// segmentCutsBox clips the segment a c by the open box b.
// Source: Y.-D. Liang, B. A. Barsky, A new concept and method for line
// clipping, ACM Transactions on Graphics 3 (1984) 1-22.
func segmentCutsBox(a, c r2.Vec, b r2.Box) bool {
	from, to := 0.0, 1.0
	d := r2.Sub(c, a)
	clip := func(start, step, low, high float64) bool {
		if step == 0 {
			return start > low && start < high
		}
		t0, t1 := (low-start)/step, (high-start)/step
		from, to = max(from, min(t0, t1)), min(to, max(t0, t1))
		return from < to
	}
	return clip(a.X, d.X, b.Min.X, b.Max.X) && clip(a.Y, d.Y, b.Min.Y, b.Max.Y)
}

// BoxDistance is the distance from q to the box b, 0 inside.
func BoxDistance(b r2.Box, q r2.Vec) float64 {
	dx := max(b.Min.X-q.X, 0, q.X-b.Max.X)
	dy := max(b.Min.Y-q.Y, 0, q.Y-b.Max.Y)
	return math.Hypot(dx, dy)
}

// boxSegmentDistance is the distance from the segment a c to the box b.
func boxSegmentDistance(b r2.Box, a, c r2.Vec) float64 {
	if segmentCutsBox(a, c, b) {
		return 0
	}
	best := min(BoxDistance(b, a), BoxDistance(b, c))
	for _, corner := range b.Vertices() {
		near, _ := nearestOnSegment(a, c, corner)
		best = min(best, r2.Norm(r2.Sub(corner, near)))
	}
	return best
}

// ObstacleKind says what keeps the module from a place.
type ObstacleKind string

// The obstacles.
const (
	ObstacleOutline   ObstacleKind = "outline"   // the foot would stand over the edge
	ObstacleKeepout   ObstacleKind = "keepout"   // the foot would reach into a keep-out
	ObstacleClearance ObstacleKind = "clearance" // the foot would come too near to a part
)

// Obstacle keeps the module from a place. Name is that of the keep-out or of
// the part.
type Obstacle struct {
	Kind ObstacleKind
	Name string
}

// Obstacles are all that keep the module from standing with the middle of its
// foot at at; none if it can. The foot must lie on the outline, outside every
// keep-out and, seen from above, at least clearance_mm from every part.
// Cable and balance are not looked at.
func (c *Craft) Obstacles(at r2.Vec) []Obstacle {
	foot := c.Module.Footprint(at)
	var out []Obstacle
	if !c.Body.OutlineMM.ContainsBox(foot) {
		out = append(out, Obstacle{Kind: ObstacleOutline})
	}
	for _, k := range c.Keepouts {
		if k.OutlineMM.OverlapsBox(foot) {
			out = append(out, Obstacle{ObstacleKeepout, k.Name})
		}
	}
	for _, p := range c.Parts {
		if p.ClearanceMM > 0 && p.planDistance(foot) < p.ClearanceMM-onEdgeMM {
			out = append(out, Obstacle{ObstacleClearance, p.Name})
		}
	}
	return out
}

// planDistance is the distance of p from b seen from above, p where it now
// stands (slide_mm is not looked at); +Inf for a part without a place.
func (p Part) planDistance(b r2.Box) float64 {
	if p.AtMM != nil {
		return BoxDistance(b, r2.Vec{X: p.AtMM.X, Y: p.AtMM.Y})
	}
	best := math.Inf(1)
	for i := 1; i < len(p.PathMM); i++ {
		u, v := p.PathMM[i-1], p.PathMM[i]
		best = min(best, boxSegmentDistance(b, r2.Vec{X: u.X, Y: u.Y}, r2.Vec{X: v.X, Y: v.Y}))
	}
	return best
}
