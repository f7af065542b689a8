package plane

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Triangulate returns the Delaunay triangulation of points over x, y: the
// points sorted, each x, y once (the first of several counts); the triangles,
// all turning from x towards y; and the edges of the convex hull in the same
// sense. Triangles and edges are indices into the points returned. Points on
// one line give no triangle and the pieces of the line as hull, a single point
// the edge from itself to itself, no points nothing. points is not modified.
//
// The triangles always tile the hull, because the sides of lines are decided
// exactly; rounding can only leave one of two nearly equal diagonals.
func Triangulate(points []r3.Vec) (sorted []r3.Vec, triangles [][3]int, rim [][2]int) {
	pts := slices.Clone(points)
	slices.SortStableFunc(pts, func(a, b r3.Vec) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	pts = slices.CompactFunc(pts, func(a, b r3.Vec) bool { return a.X == b.X && a.Y == b.Y })
	switch len(pts) {
	case 0:
		return nil, nil, nil
	case 1:
		return pts, nil, [][2]int{{0, 0}}
	}
	triangles, hull := sweep(pts)
	flipToDelaunay(pts, triangles)
	for i := range hull {
		rim = append(rim, [2]int{hull[i], hull[(i+1)%len(hull)]})
	}
	return pts, triangles, rim
}

// sweep joins the sorted points one by one to the part of the hull that is
// visible from each. Triangles and hull turn from x towards y.
func sweep(pts []r3.Vec) (triangles [][3]int, hull []int) {
	side := func(a, b, c int) int { return turn(flat(pts[a]), flat(pts[b]), flat(pts[c])) }
	k := 2
	for k < len(pts) && side(0, 1, k) == 0 {
		k++
	}
	for i := range min(k, len(pts)) {
		hull = append(hull, i)
	}
	if k >= len(pts) {
		return nil, hull
	}
	if side(0, 1, k) < 0 {
		slices.Reverse(hull)
	}
	for i := 1; i < k; i++ {
		triangles = append(triangles, [3]int{hull[i-1], hull[i], k})
	}
	hull = append(hull, k)
	for p := k + 1; p < len(pts); p++ {
		n := len(hull)
		visible := func(i int) bool { return side(hull[i%n], hull[(i+1)%n], p) < 0 }
		start := 0
		for start < n && (!visible(start) || visible(start+n-1)) {
			start++
		}
		end := start
		for ; visible(end) && end < start+n; end++ {
			triangles = append(triangles, [3]int{hull[(end+1)%n], hull[end%n], p})
		}
		next := []int{p}
		for i := end; i <= start+n; i++ {
			next = append(next, hull[i%n])
		}
		hull = next
	}
	return triangles, hull
}

// flipToDelaunay exchanges diagonals in place until no triangle's circle holds
// the far corner of a neighbour. A round flips pairs of triangles that share
// none. The number of rounds is bounded; at the bound the triangles still tile
// the hull.
// Source: C. L. Lawson, Software for C1 surface interpolation, in J. R. Rice
// (ed.), Mathematical Software III, Academic Press 1977, 161-194.
func flipToDelaunay(pts []r3.Vec, triangles [][3]int) {
	for range 1000 {
		owner := make(map[[2]int]int, 3*len(triangles))
		for i, t := range triangles {
			for k := range 3 {
				owner[[2]int{t[k], t[(k+1)%3]}] = i
			}
		}
		touched := make([]bool, len(triangles))
		flipped := false
		for i, t := range triangles {
			for k := range 3 {
				a, b, c := t[k], t[(k+1)%3], t[(k+2)%3]
				j, ok := owner[[2]int{b, a}]
				if !ok || touched[i] || touched[j] {
					continue
				}
				u := triangles[j]
				d := u[slices.IndexFunc(u[:], func(v int) bool { return v != a && v != b })]
				if !betterFlipped(flat(pts[a]), flat(pts[b]), flat(pts[c]), flat(pts[d])) {
					continue
				}
				triangles[i], triangles[j] = [3]int{a, d, c}, [3]int{d, b, c}
				touched[i], touched[j], flipped = true, true, true
			}
		}
		if !flipped {
			return
		}
	}
}

// betterFlipped reports whether d lies clearly within the circle through a, b,
// c, and c d can replace a b.
func betterFlipped(a, b, c, d r2.Vec) bool {
	if turn(c, d, a)*turn(c, d, b) >= 0 {
		return false
	}
	pa, pb, pc := r2.Sub(a, d), r2.Sub(b, d), r2.Sub(c, d)
	na, nb, nc := r2.Norm2(pa), r2.Norm2(pb), r2.Norm2(pc)
	in := na*r2.Cross(pb, pc) + nb*r2.Cross(pc, pa) + nc*r2.Cross(pa, pb)
	size := (na + nb + nc)
	return in > 1e-12*size*size
}

func flat(p r3.Vec) r2.Vec { return r2.Vec{X: p.X, Y: p.Y} }
