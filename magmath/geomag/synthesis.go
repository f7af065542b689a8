package geomag

import (
	"math"
)

// Elements are the elements of the geomagnetic field at one place and date,
// and their yearly changes: X north, Y east, Z down, H horizontal, F total in
// nanotesla; D east of true north and I below the horizontal in degrees.
type Elements struct {
	X, Y, Z, H, F, D, I                      float64
	DotX, DotY, DotZ, DotH, DotF, DotD, DotI float64 // a year
}

const degree = math.Pi / 180

// vector is a field in north, east and down components, nT or nT a year.
type vector struct{ north, east, down float64 }

// elements derives the seven elements and their rates from the field b and its
// yearly change dot.
//
// Where H is zero the declination has no value: D and DotD are then 0 and DotH
// is the rate at which H grows from there. Where F is zero the same holds for
// I and DotI.
//
// Source: Chulliat et al. (2025), The US/UK World Magnetic Model for
// 2025-2030, equations for H, F, I, D and their time derivatives, which are the
// chain rule applied to the definitions.
func elements(b, dot vector) Elements {
	e := Elements{
		X: b.north, Y: b.east, Z: b.down,
		DotX: dot.north, DotY: dot.east, DotZ: dot.down,
	}
	e.H = math.Hypot(e.X, e.Y)
	e.F = math.Hypot(e.H, e.Z)
	e.D = math.Atan2(e.Y, e.X) / degree
	e.I = math.Atan2(e.Z, e.H) / degree
	if e.H == 0 {
		e.DotH = math.Hypot(e.DotX, e.DotY)
	} else {
		e.DotH = (e.X*e.DotX + e.Y*e.DotY) / e.H
		e.DotD = (e.X*e.DotY - e.Y*e.DotX) / (e.H * e.H) / degree
	}
	if e.F == 0 {
		e.DotF = math.Hypot(e.DotH, e.DotZ)
	} else {
		e.DotF = (e.H*e.DotH + e.Z*e.DotZ) / e.F
		e.DotI = (e.H*e.DotZ - e.Z*e.DotH) / (e.F * e.F) / degree
	}
	return e
}

// referenceRadiusKM is the radius to which the coefficients refer.
// Source: Chulliat et al. (2025), section 1.2: geomagnetic reference radius.
const referenceRadiusKM = 6371.2

// At returns the field at a place and decimal year. It allocates nothing, is
// finite and continuous at the poles and at the date line, and ignores the
// model's validity. A place that Check refuses, or a year that is not finite,
// gives numbers without meaning (NaN where the input is NaN), never a panic.
//
// Source: Chulliat et al. (2025), The US/UK World Magnetic Model for
// 2025-2030: Technical Report, section 1.2, doi 10.25923/prbc-s316. The
// derivative of the Legendre functions and their ratio to sin(colatitude) are
// computed without division, so the poles are no special case.
func (m *Model) At(p Place, year float64) Elements {
	at := p.spherical()
	var s series
	s.ratio = referenceRadiusKM / at.radiusKM
	s.cosColat, s.sinColat = at.cosColat, at.sinColat
	s.years = year - m.epoch
	s.zonal(m.terms[:m.degree])
	rest := m.terms[m.degree:]
	cosLon, sinLon := at.cosLon, at.sinLon
	sectoral, power := 1.0, s.ratio*s.ratio
	for order := 1; order <= m.degree; order++ {
		power *= s.ratio
		if order > 1 {
			sectoral *= at.sinColat * math.Sqrt(1-0.5/float64(order))
			cosLon, sinLon = cosLon*at.cosLon-sinLon*at.sinLon, sinLon*at.cosLon+cosLon*at.sinLon
		}
		n := m.degree - order + 1
		s.column(rest[:n], order, sectoral, power, cosLon, sinLon)
		rest = rest[n:]
	}
	return elements(at.geodetic(s.field), at.geodetic(s.rate))
}

// geodetic turns spherical components (towards the geocentric north, east,
// centre) into geodetic ones.
func (at spherical) geodetic(v vector) vector {
	return vector{
		north: v.north*at.cosTurn - v.down*at.sinTurn,
		east:  v.east,
		down:  v.north*at.sinTurn + v.down*at.cosTurn,
	}
}

// series is the running sum over degrees and orders, in spherical components.
type series struct {
	ratio              float64 // reference radius over distance
	cosColat, sinColat float64
	years              float64 // since the epoch
	field, rate        vector
}

// zonal adds the terms of order zero. The derivative of the Legendre polynomial
// follows P'(n) = n P(n-1) + x P'(n-1).
func (s *series) zonal(terms []term) {
	p, previous, slope := 1.0, 0.0, 0.0
	power := s.ratio * s.ratio
	for i, t := range terms {
		n := float64(i + 1)
		power *= s.ratio
		slope = n*p + s.cosColat*slope
		p, previous = t.lead*s.cosColat*p-t.lag*previous, p
		down, north := -(n+1)*power*p, -s.sinColat*slope*power
		g := t.g + s.years*t.gDot
		s.field.down += down * g
		s.field.north += north * g
		s.rate.down += down * t.gDot
		s.rate.north += north * t.gDot
	}
}

// column adds the terms of one order m >= 1, degrees m and up. q is the
// Legendre function divided by sin(colatitude), which is finite everywhere;
// sectoral is its first value, power the radial factor of degree m.
func (s *series) column(terms []term, m int, sectoral, power, cosLon, sinLon float64) {
	q, previous := sectoral, 0.0
	order := float64(m)
	for i, t := range terms {
		n := float64(m + i)
		if i > 0 {
			q, previous = t.lead*s.cosColat*q-t.lag*previous, q
			power *= s.ratio
		}
		down := -(n + 1) * power * q * s.sinColat
		north := power * (n*s.cosColat*q - t.root*previous)
		east := order * power * q

		cosine := t.gDot*cosLon + t.hDot*sinLon
		sine := t.gDot*sinLon - t.hDot*cosLon
		s.rate.north += north * cosine
		s.rate.east += east * sine
		s.rate.down += down * cosine

		cosine = t.g*cosLon + t.h*sinLon + s.years*cosine
		sine = t.g*sinLon - t.h*cosLon + s.years*sine
		s.field.north += north * cosine
		s.field.east += east * sine
		s.field.down += down * cosine
	}
}
