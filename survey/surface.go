package survey

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
)

// Surface is the mounting surface: z over x, y, craft frame, millimetres. With
// no points it is level. With points it runs through them, flat over each
// triangle of their Delaunay triangulation; beyond their hull it keeps the
// height of the nearest place of the hull, so that it never leaves the range
// of the points. Points on one line make a profile along that line, a single
// point a level surface.
type Surface struct {
	level     float64
	points    []r3.Vec
	triangles [][3]int
	rim       [][2]int // the hull's edges
}

// NewSurface fits a surface to points, or lays it level at levelZ if there
// are none. Of points at one x, y the first counts. It keeps no reference to
// points.
func NewSurface(points []r3.Vec, levelZ float64) *Surface {
	s := &Surface{level: levelZ}
	s.points, s.triangles, s.rim = plane.Triangulate(points)
	return s
}

// Surface returns the craft's mounting surface. Call it once where many heights
// are needed.
func (c *Craft) Surface() *Surface { return NewSurface(c.Body.SurfacePoints, c.Body.SurfaceZMM) }

// SurfaceZ returns the z (down positive, mm) of the mounting surface at x, y in
// mm.
func (c *Craft) SurfaceZ(x, y float64) float64 { return c.Surface().Z(x, y) }

// Z returns the surface's z at x, y.
func (s *Surface) Z(x, y float64) float64 {
	q := r2.Vec{X: x, Y: y}
	if len(s.points) == 0 {
		return s.level
	}
	for _, t := range s.triangles {
		if z, ok := s.over(t, q); ok {
			return z
		}
	}
	best, z := math.Inf(1), s.points[0].Z
	for _, e := range s.rim {
		a, b := s.points[e[0]], s.points[e[1]]
		near, t := plane.Nearest(flat(a), flat(b), q)
		if d := r2.Norm2(r2.Sub(q, near)); d < best {
			best, z = d, a.Z*(1-t)+b.Z*t
		}
	}
	return z
}

// over is the height at q of the plane through triangle t, if q lies on it.
func (s *Surface) over(t [3]int, q r2.Vec) (float64, bool) {
	a, b, c := flat(s.points[t[0]]), flat(s.points[t[1]]), flat(s.points[t[2]])
	whole := r2.Cross(r2.Sub(b, a), r2.Sub(c, a))
	u := r2.Cross(r2.Sub(b, q), r2.Sub(c, q)) / whole
	v := r2.Cross(r2.Sub(c, q), r2.Sub(a, q)) / whole
	w := r2.Cross(r2.Sub(a, q), r2.Sub(b, q)) / whole
	if !(min(u, v, w) >= -1e-12) {
		return 0, false
	}
	return u*s.points[t[0]].Z + v*s.points[t[1]].Z + w*s.points[t[2]].Z, true
}

func flat(p r3.Vec) r2.Vec { return r2.Vec{X: p.X, Y: p.Y} }
