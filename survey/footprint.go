package survey

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/plane"
)

// Footprint is the area that m covers when the middle of its foot stands at
// at, arrow to the nose.
func (m Module) Footprint(at r2.Vec) r2.Box {
	half := r2.Scale(0.5, m.FootprintMM)
	return r2.Box{Min: r2.Sub(at, half), Max: r2.Add(at, half)}
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
		if p.ClearanceMM > 0 && p.planDistance(foot) < p.ClearanceMM-plane.OnEdgeMM {
			out = append(out, Obstacle{ObstacleClearance, p.Name})
		}
	}
	return out
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
