package survey

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/plane"
)

// Footprint returns the area, craft frame, mm, that m covers with the middle of
// its foot at the place at and its arrow to the nose.
func (m Module) Footprint(at r2.Vec) r2.Box {
	half := r2.Scale(0.5, m.FootprintMM)
	return r2.Box{Min: r2.Sub(at, half), Max: r2.Add(at, half)}
}

// ObstacleKind is the reason why the module cannot stand at a place.
type ObstacleKind string

// The obstacles.
const (
	ObstacleOutline   ObstacleKind = "outline"   // the foot would stand over the edge
	ObstacleKeepout   ObstacleKind = "keepout"   // the foot would reach into a keep-out
	ObstacleClearance ObstacleKind = "clearance" // the foot would come too near to a part
)

// Obstacle is a reason why the module cannot stand at a place. Name is the
// keep-out's or the part's.
type Obstacle struct {
	Kind ObstacleKind
	Name string
}

// Obstacles returns everything that prevents mounting the module with the
// middle of its foot at the place at, in mm; nil if nothing does. The foot must
// lie on the outline, outside every keep-out and, seen from above, at least
// clearance_mm from every part. It does not check cable and balance.
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
		if p.ClearanceMM > 0 && p.planDistance(foot) < p.ClearanceMM-plane.OnEdgeMM {
			out = append(out, Obstacle{ObstacleClearance, p.Name})
		}
	}
	return out
}

// IntrusionMM returns by how much an obstacle must give way, mm, for the foot to
// stand at the place at: a keep-out narrowed all round, a clearance made smaller.
// It is 0 where the obstacle is not in the way, +Inf for an outline, which does
// not give way, and for a name that nothing has.
func (c *Craft) IntrusionMM(o Obstacle, at r2.Vec) float64 {
	foot := c.Module.Footprint(at)
	for _, k := range c.Keepouts {
		if o.Kind == ObstacleKeepout && k.Name == o.Name {
			return k.OutlineMM.Depth(foot)
		}
	}
	for _, p := range c.Parts {
		if o.Kind == ObstacleClearance && p.Name == o.Name {
			return max(0, p.ClearanceMM-p.planDistance(foot))
		}
	}
	return math.Inf(1)
}

// planDistance is the distance of p from b seen from above, p where it now
// stands (slide_mm is not looked at); +Inf for a part without a place.
func (p Part) planDistance(b r2.Box) float64 {
	if p.AtMM != nil {
		return plane.BoxDistance(b, r2.Vec{X: p.AtMM.X, Y: p.AtMM.Y})
	}
	best := math.Inf(1)
	for i := 1; i < len(p.PathMM); i++ {
		u, v := p.PathMM[i-1], p.PathMM[i]
		best = min(best, plane.BoxSegmentDistance(b, r2.Vec{X: u.X, Y: u.Y}, r2.Vec{X: v.X, Y: v.Y}))
	}
	return best
}
