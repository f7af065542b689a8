package swing

import (
	"math"
	"math/cmplx"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
)

// Coefficients are the five of a deviation curve. Approximate ones are in
// degrees, exact ones have no dimension; which, the name of the variable or
// the function says. Deviation is magnetic less compass heading, east
// positive.
type Coefficients struct{ A, B, C, D, E float64 }

// Approximate returns the deviation in degrees at a compass heading in degrees, of
// approximate coefficients in degrees: A + B sin z' + C cos z' + D sin 2z' +
// E cos 2z'.
//
// Source: NGA, Handbook of Magnetic Compass Adjustment (2004, formerly Pub.
// 226), chapter V.
func (c Coefficients) Approximate(compassDeg float64) float64 {
	s, k := math.Sincos(compassDeg * math.Pi / 180)
	s2, k2 := math.Sincos(2 * compassDeg * math.Pi / 180)
	return c.A + c.B*s + c.C*k + c.D*s2 + c.E*k2
}

// Exact returns the deviation in degrees at a magnetic heading in degrees, of exact
// coefficients: the argument of 1 + iA + (B + iC) e^iz + (D + iE) e^2iz.
//
// Source: the formulas of Poisson and Archibald Smith, tan(deviation) = [A +
// B sin z + C cos z + D sin 2z + E cos 2z] / [1 + B cos z - C sin z + D cos 2z -
// E sin 2z], in complex form.
func (c Coefficients) Exact(magneticDeg float64) float64 {
	return cmplx.Phase(c.pull(magneticDeg*math.Pi/180)) * 180 / math.Pi
}

// pull returns the field at the compass, level, over its mean northward part, with
// the magnetic north along the real axis.
func (c Coefficients) pull(z float64) complex128 {
	turn := cmplx.Rect(1, z)
	return complex(1, c.A) + complex(c.B, c.C)*turn + complex(c.D, c.E)*turn*turn
}

// ExactFromApproximate turns approximate coefficients in degrees, by least
// squares over headings all round, into exact ones: good to deviations of some
// 40 degrees.
//
// Source: Elementary Manual for the Deviations of the Compass in Iron Ships
// (1875); confirmed by computation, see the test.
func (c Coefficients) ExactFromApproximate() Coefficients {
	rad := func(deg float64) (sin, versed float64) {
		s, k := math.Sincos(deg * math.Pi / 180)
		return s, 1 - k
	}
	sa, _ := rad(c.A)
	sb, vb := rad(c.B)
	sc, vc := rad(c.C)
	sd, vd := rad(c.D)
	se, _ := rad(c.E)
	return Coefficients{
		A: sa,
		B: sb*(1+sd/2+vb/12-vc/4) + sc*se/2,
		C: sc*(1-sd/2-vb/4+vc/12) + sb*se/2,
		D: sd * (1 + vd/3),
		E: se - sa*sd,
	}
}

// classic8 returns the approximate coefficients by the navigator's formulas from
// the deviations in degrees on the eight principal points by compass: N, NE,
// E, SE, S, SW, W, NW.
//
// Source: NGA, Handbook of Magnetic Compass Adjustment (2004), article 501.
func classic8(d [8]float64) Coefficients {
	const n, ne, e, se, s, sw, w, nw = 0, 1, 2, 3, 4, 5, 6, 7
	sum := 0.0
	for _, v := range d {
		sum += v
	}
	return Coefficients{
		A: sum / 8,
		B: (d[e] - d[w]) / 2,
		C: (d[n] - d[s]) / 2,
		D: ((d[ne] + d[sw]) - (d[se] + d[nw])) / 4,
		E: ((d[n] + d[s]) - (d[e] + d[w])) / 4,
	}
}

// classicSlackDeg is how far a compass heading may be from a principal point
// for classic8: five degrees move a quadrantal deviation by a sixth of its
// size (common practice, no source).
const classicSlackDeg = 5

// classic returns the coefficients of a swing that visited the eight points, or
// nil and which point is missing.
func classic(rows []Row) (*Coefficients, remark.Remark) {
	var d [8]float64
	var have [8]bool
	for _, r := range rows {
		i := int(math.Round(heading.Wrap360(r.CompassDeg)/45)) % 8
		off := math.Abs(heading.Wrap180(r.CompassDeg - 45*float64(i)))
		if off > classicSlackDeg || have[i] {
			continue
		}
		d[i], have[i] = r.DeviationDeg, true
	}
	for i, ok := range have {
		if !ok {
			return nil, remark.New("swing.no-classic", remark.Values{"within_deg": classicSlackDeg, "heading_deg": 45 * i})
		}
	}
	return new(classic8(d)), remark.Remark{}
}
