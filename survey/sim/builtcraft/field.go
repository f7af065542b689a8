package builtcraft

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"
)

// Factors of the field, from mu0/(4 pi) = 1e-7 T m/A (to nine digits, 2019 SI), for
// places in mm and fields in uT.
const (
	dipoleUT  = 1e8 // uT mm^3 / (A m^2)
	currentUT = 100 // uT mm / A
)

// dipole is a point of a magnetised body: its share of the moment.
type dipole struct{ at, moment r3.Vec }

// element is a short piece of conductor: its middle, and its vector in mm times the
// weight of the quadrature.
type element struct{ at, along r3.Vec }

// fieldOf returns the field of all dipoles at p.
//
// Source: J. D. Jackson, Classical Electrodynamics, 3rd edition, equation 5.56; from
// memory.
func fieldOf(all []dipole, p r3.Vec) r3.Vec {
	var b r3.Vec
	for i := range all {
		r := r3.Sub(p, all[i].at)
		r2 := r3.Norm2(r)
		inv3 := 1 / (r2 * math.Sqrt(r2))
		b = r3.Add(b, r3.Scale(inv3, r3.Sub(r3.Scale(3*r3.Dot(all[i].moment, r)/r2, r), all[i].moment)))
	}
	return r3.Scale(dipoleUT, b)
}

// ampereField returns the field of all elements at p, each carrying one ampere: the law
// of Biot and Savart, summed.
func ampereField(all []element, p r3.Vec) r3.Vec {
	var b r3.Vec
	for i := range all {
		r := r3.Sub(p, all[i].at)
		r2 := r3.Norm2(r)
		b = r3.Add(b, r3.Scale(1/(r2*math.Sqrt(r2)), r3.Cross(all[i].along, r)))
	}
	return r3.Scale(currentUT, b)
}

// grain is a point of a body with its share of the volume.
type grain struct {
	at    r3.Vec
	share float64
}

// magnetised returns the body with the moment spread evenly over its volume.
func magnetised(body []grain, moment r3.Vec) []dipole {
	out := make([]dipole, len(body))
	for i, g := range body {
		out[i] = dipole{g.at, r3.Scale(g.share, moment)}
	}
	return out
}

// Points of the quadrature over a solid, along each length and around an axis.
const (
	pointsAlong  = 4
	pointsAround = 8
)

// gauss returns places and weights over -1..1; the weights sum to 1.
func gauss(n int) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, -1, 1)
	for i := range w {
		w[i] /= 2
	}
	return x, w
}

// cylinder returns a solid cylinder about the unit vector axis.
func cylinder(at, axis r3.Vec, radiusMM, lengthMM float64) []grain {
	u, v := across(axis)
	x, w := gauss(pointsAlong)
	var out []grain
	for i, z := range x {
		for j, s := range x {
			rho := radiusMM * math.Sqrt((1+s)/2) // even over the area of the disc
			for k := range pointsAround {
				sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5*float64(j%2)) / pointsAround)
				p := r3.Add(at, r3.Scale(z*lengthMM/2, axis))
				p = r3.Add(p, r3.Add(r3.Scale(rho*cos, u), r3.Scale(rho*sin, v)))
				out = append(out, grain{p, w[i] * w[j] / pointsAround})
			}
		}
	}
	return out
}

// tube returns a thin tube about the unit vector axis, such as the bell of a motor.
func tube(at, axis r3.Vec, radiusMM, lengthMM float64) []grain {
	u, v := across(axis)
	var out []grain
	for _, z := range []float64{-0.25, 0.25} {
		for k := range pointsAround {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / pointsAround)
			p := r3.Add(at, r3.Scale(z*lengthMM, axis))
			p = r3.Add(p, r3.Add(r3.Scale(radiusMM*cos, u), r3.Scale(radiusMM*sin, v)))
			out = append(out, grain{p, 0.5 / pointsAround})
		}
	}
	return out
}

// block returns a solid block with its sides, mm, along axis and two directions across
// it.
func block(at, axis r3.Vec, sides r3.Vec) []grain {
	u, v := across(axis)
	x, w := gauss(pointsAlong)
	var out []grain
	for i := range x {
		for j := range x {
			for k := range x {
				p := r3.Add(at, r3.Scale(x[i]*sides.X/2, axis))
				p = r3.Add(p, r3.Add(r3.Scale(x[j]*sides.Y/2, u), r3.Scale(x[k]*sides.Z/2, v)))
				out = append(out, grain{p, w[i] * w[j] * w[k]})
			}
		}
	}
	return out
}

// rod returns a thin rod along the unit vector axis, such as a screw.
func rod(at, axis r3.Vec, lengthMM float64) []grain {
	x, w := gauss(pointsAlong)
	var out []grain
	for i := range x {
		out = append(out, grain{r3.Add(at, r3.Scale(x[i]*lengthMM/2, axis)), w[i]})
	}
	return out
}

// across returns two unit vectors at right angles to the unit vector axis and to each
// other.
func across(axis r3.Vec) (u, v r3.Vec) {
	other := r3.Vec{X: 1}
	if math.Abs(axis.X) > 0.6 {
		other = r3.Vec{Y: 1}
	}
	u = r3.Unit(r3.Cross(axis, other))
	return u, r3.Cross(axis, u)
}

// wire cuts the polygon through the points into elements: two points of Gauss's
// quadrature on each side.
func wire(points []r3.Vec) []element {
	x, w := gauss(2)
	var out []element
	for i := 1; i < len(points); i++ {
		middle, whole := r3.Scale(0.5, r3.Add(points[i-1], points[i])), r3.Sub(points[i], points[i-1])
		for k := range x {
			out = append(out, element{r3.Add(middle, r3.Scale(x[k]/2, whole)), r3.Scale(w[k], whole)})
		}
	}
	return out
}

// steel is a body that the ambient field magnetises: along its axis more readily than
// across it.
type steel struct {
	body          []grain
	axis          r3.Vec
	along, across float64 // A m^2 / uT
}

// newSteel returns a steel body of so many mm^3 whose demagnetising factors are along
// and across its axis. The susceptibility of steel is so large that only the factors
// count: m = V B / (mu0 N).
//
// Source: R. M. Bozorth, Ferromagnetism, chapter 19, demagnetising factors; from memory.
func newSteel(body []grain, axis r3.Vec, volumeMM3, along, across float64) steel {
	k := volumeMM3 * 1e-9 * 1e-6 / (4 * math.Pi * 1e-7)
	return steel{body, axis, k / along, k / across}
}

// induced returns the dipoles of the body in an ambient field, uT.
func (s steel) induced(ambient r3.Vec) []dipole {
	m := r3.Add(r3.Scale(s.across, ambient), r3.Scale((s.along-s.across)*r3.Dot(ambient, s.axis), s.axis))
	return magnetised(s.body, m)
}
