package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Published limits of a compass-safe distance: the deflection times the
// horizontal field, degrees times microtesla.
//
// Source: IEC 60945 clause 11.2 and ISO 25862, annex on the compass-safe
// distance: 5.4 degrees/H for a standard compass, 18 degrees/H for a steering,
// standby or emergency compass.
const (
	standardDegUT = 5.4
	reducedDegUT  = 18.0
)

// StandardLimitUT and ReducedLimitUT are those limits as fields, 0.0942 and
// 0.314 microtesla: H sin(5.4 degrees/H) hardly depends on H.
const (
	StandardLimitUT = standardDegUT * math.Pi / 180
	ReducedLimitUT  = reducedDegUT * math.Pi / 180
)

// DipoleDistance returns the distance in millimetres at which the field of a
// moment, ampere square metres, falls to limitUT in the worst direction, which
// is on its axis: (2 k m / limit)^(1/3), k = mu0/4pi. 0 without a moment,
// +Inf for a limit that is not positive.
func DipoleDistance(momentAm2, limitUT float64) float64 {
	switch {
	case !(math.Abs(momentAm2) > 0):
		return 0
	case !(limitUT > 0):
		return math.Inf(1)
	}
	return math.Cbrt(2 * dipoleUT * math.Abs(momentAm2) / limitUT)
}

// farthestMM is as far as a lead's safe distance is looked for.
const farthestMM = 1e5

// PathDistance returns the distance in millimetres from a path at which a field
// falls to limitUT in the worst direction: the largest |B| over the points at
// that distance from the path, along all of it and round its ends. 0 where
// the field is under the limit 1 mm from the path, +Inf where it is not at
// 100 m, or for a limit that is not positive.
func PathDistance(path []r3.Vec, field func(r3.Vec) r3.Vec, limitUT float64) float64 {
	if !(limitUT > 0) {
		return math.Inf(1)
	}
	low, high := 1.0, farthestMM
	all, worst := outwards(path), 0
	// over reports whether the field is over the limit somewhere at distance r. It
	// looks first where it last was. A field without a value counts as infinite.
	over := func(r float64) bool {
		for k := range all {
			i := (worst + k) % len(all)
			p := r3.Add(all[i].from, r3.Scale(r, all[i].toward))
			if distanceTo(path, p) < r*(1-1e-6) { // nearer to another part
				continue
			}
			if !(r3.Norm(field(p)) <= limitUT) {
				worst = i
				return true
			}
		}
		return false
	}
	if len(path) < 2 || !over(low) {
		return 0
	}
	if over(high) {
		return math.Inf(1)
	}
	for high/low > 1.001 {
		if mid := math.Sqrt(low * high); over(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// The points at one distance from a path: rings about it, and spheres about
// its ends and corners, spread by the golden angle.
const (
	ringsOnPath   = 33
	pointsOnRing  = 24
	pointsOnGlobe = 64
)

var goldenAngle = math.Pi * (3 - math.Sqrt(5))

// outward is a direction away from a place on a path.
type outward struct{ from, toward r3.Vec }

// outwards returns the directions in which the points at one distance from a path
// lie; some of these points may be nearer to another part of it.
func outwards(path []r3.Vec) []outward {
	var out []outward
	for _, p := range along(path, ringsOnPath) {
		for _, u := range ring(path, p) {
			out = append(out, outward{p, u})
		}
	}
	for _, p := range path {
		for k := range pointsOnGlobe {
			z := 1 - 2*(float64(k)+0.5)/pointsOnGlobe
			s, c := math.Sincos(goldenAngle * float64(k))
			w := math.Sqrt(1 - z*z)
			out = append(out, outward{p, r3.Vec{X: w * c, Y: w * s, Z: z}})
		}
	}
	return out
}

// ring returns directions across the pieces of a path on which p lies.
func ring(path []r3.Vec, p r3.Vec) []r3.Vec {
	var out []r3.Vec
	for i := 1; i < len(path); i++ {
		d := r3.Sub(path[i], path[i-1])
		if r3.Norm(d) == 0 || distanceTo(path[i-1:i+1], p) > 1e-6 {
			continue
		}
		u := r3.Unit(d)
		v := r3.Cross(u, r3.Vec{Z: 1})
		if r3.Norm(v) < 1e-6 {
			v = r3.Vec{X: 1}
		}
		v = r3.Unit(v)
		w := r3.Cross(u, v)
		for k := range pointsOnRing {
			s, c := math.Sincos(2 * math.Pi * float64(k) / pointsOnRing)
			out = append(out, r3.Add(r3.Scale(c, v), r3.Scale(s, w)))
		}
	}
	return out
}

// along returns n points at equal steps along a path, its ends among them; pieces
// without length are passed over.
func along(path []r3.Vec, n int) []r3.Vec {
	total := 0.0
	for i := 1; i < len(path); i++ {
		total += r3.Norm(r3.Sub(path[i], path[i-1]))
	}
	var out []r3.Vec
	for k := range n {
		left := total * float64(k) / float64(n-1)
		for i := 1; i < len(path); i++ {
			d := r3.Sub(path[i], path[i-1])
			m := r3.Norm(d)
			if m > 0 && left <= m {
				out = append(out, r3.Add(path[i-1], r3.Scale(left/m, d)))
				break
			}
			if i == len(path)-1 { // the end, but for rounding
				out = append(out, path[i])
			}
			left -= m
		}
	}
	return out
}

func distanceTo(path []r3.Vec, q r3.Vec) float64 {
	best := math.Inf(1)
	for i := 1; i < len(path); i++ {
		a, d := path[i-1], r3.Sub(path[i], path[i-1])
		t := 0.0
		if n := r3.Norm2(d); n > 0 {
			t = min(1, max(0, r3.Dot(r3.Sub(q, a), d)/n))
		}
		best = min(best, length(r3.Sub(q, r3.Add(a, r3.Scale(t, d)))))
	}
	return best
}

// SafeDistance returns the compass-safe distance, in millimetres, of a fitted
// source in its worst direction: from a dipole's place, or from a lead's path.
func (c Fitted) SafeDistance(limitUT float64) float64 {
	if c.Kind == KindDipole {
		return DipoleDistance(r3.Norm(c.MomentAm2), limitUT)
	}
	return PathDistance(c.PathMM, c.Field, limitUT)
}

// SafeDistanceUpper95 returns the bound, in millimetres, that the source's
// compass-safe distance exceeds with a probability of 5 %, by the covariance of
// its fit. relativeSD is what else its strength is uncertain by, as a share: the
// current of a load, 0 for none. For a lead it is the distance at which the upper
// 95 % bound of the field falls to the limit, every direction with its own bound:
// a little on the safe side.
func (c Fitted) SafeDistanceUpper95(limitUT, relativeSD float64) float64 {
	if c.Kind == KindDipole {
		m := c.MomentAm2
		return DipoleDistance(upperLength(m, c.MomentCov.Add(magmath.Outer(m, m).Scale(relativeSD*relativeSD))), limitUT)
	}
	return PathDistance(c.PathMM, c.upperField(relativeSD), limitUT)
}

// upperField returns the field at a place, longer by 1.645 standard deviations of its
// length (the 0.95 quantile of a normal distribution).
func (c Fitted) upperField(relativeSD float64) func(p r3.Vec) r3.Vec {
	const one95 = 1.6448536269514722
	fields, gradients := c.e.fields(), c.e.gradients(c.x)
	along := make([]float64, c.Cov.SymmetricDim())
	return func(p r3.Vec) r3.Vec {
		var b r3.Vec
		units := fields(nil, p)
		for i, u := range units {
			b = r3.Add(b, r3.Scale(c.x[i], u))
		}
		n := r3.Norm(b)
		if !(n > 0) || math.IsInf(n, 0) {
			return b
		}
		u := r3.Scale(1/n, b)
		for i, s := range gradients(units, p) {
			along[i] = r3.Dot(u, s)
		}
		v := n * n * relativeSD * relativeSD
		for i, a := range along {
			for j, b := range along {
				v += a * b * c.Cov.At(i, j)
			}
		}
		return r3.Scale(n+one95*math.Sqrt(max(v, 0)), u)
	}
}

// upperLength returns the 0.95 quantile of the length of a normal vector: its
// square is given the shifted chi-square distribution with the same first three
// cumulants. Zero covariance gives the length itself.
//
// Source: Imhof 1961, Biometrika 48, 419, eq. 4.2 (Pearson's approximation to
// a quadratic form in normal variables; from memory).
func upperLength(m r3.Vec, cov magmath.Mat3) float64 {
	c2 := cov.Mul(cov)
	k1 := cov.Trace() + r3.Norm2(m)
	k2 := c2.Trace() + 2*r3.Dot(m, cov.Apply(m))
	k3 := c2.Mul(cov).Trace() + 3*r3.Dot(m, c2.Apply(m))
	if !(k2 > 0) || !(k3 > 0) {
		return math.Sqrt(max(k1, 0))
	}
	nu := k2 * k2 * k2 / (k3 * k3)
	z := 1.6448536269514722 // where the chi-square is as good as normal
	if nu < 1e5 {
		z = (distuv.ChiSquared{K: nu}.Quantile(0.95) - nu) / math.Sqrt(2*nu)
	}
	return math.Sqrt(max(k1+math.Sqrt(2*k2)*z, 0))
}
