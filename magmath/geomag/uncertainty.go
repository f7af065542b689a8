package geomag

import "math"

// The error model of the World Magnetic Model 2025: one standard deviation of
// the difference between the model and the field outdoors, crust and
// disturbances included.
// Source: Chulliat et al. (2025), section 3.4 with eq. 43 for D.
const (
	uncertaintyXNT = 137
	uncertaintyYNT = 89
	uncertaintyZNT = 141
	uncertaintyHNT = 133
	uncertaintyFNT = 138
	uncertaintyI   = 0.20 // degrees
	declinationC   = 0.26 // degrees, the part of D that does not depend on H
	declinationHNT = 5417 // degree nT, the part that does
)

// Uncertainty returns the standard uncertainty of each element of e: nanotesla for
// X, Y, Z, H and F, degrees for D and I. That of D grows as H falls and is
// capped at 180 degrees, where H is zero. The published error model says
// nothing about the yearly changes: the Dot fields are 0 and mean nothing. The
// numbers are those of WMM2025; for another model they are a fair guess.
func Uncertainty(e Elements) Elements {
	return Elements{
		X: uncertaintyXNT, Y: uncertaintyYNT, Z: uncertaintyZNT,
		H: uncertaintyHNT, F: uncertaintyFNT, I: uncertaintyI,
		D: min(math.Hypot(declinationC, declinationHNT/math.Abs(e.H)), 180),
	}
}

// driftNT is the standard uncertainty that each component gains in a year outside
// the model's term, nanotesla: the yearly change is then that of another time. It
// is a few times the error of a predicted yearly change. Common practice, no
// source.
const driftNT = 30

// UncertaintyBeyond returns Uncertainty some years outside the model's term, see
// Model.YearsOutside: in quadrature, driftNT a year for each component and the
// angle that it makes for D and I, at most 180 degrees. No years, or fewer, change
// nothing.
func UncertaintyBeyond(e Elements, years float64) Elements {
	u := Uncertainty(e)
	if !(years > 0) {
		return u
	}
	drift := driftNT * years
	for _, nt := range []*float64{&u.X, &u.Y, &u.Z, &u.H, &u.F} {
		*nt = math.Hypot(*nt, drift)
	}
	angle := func(deg, nt float64) float64 {
		return min(math.Hypot(deg, drift/math.Abs(nt)*180/math.Pi), 180)
	}
	u.D, u.I = angle(u.D, e.H), angle(u.I, e.F)
	return u
}

// Zone is the usability of a compass at a place.
type Zone string

const (
	ZoneOK       Zone = "ok"
	ZoneCaution  Zone = "caution"  // a compass gets inaccurate
	ZoneBlackout Zone = "blackout" // a compass must not be relied on
)

// The horizontal fields under which the zones begin.
// Source: Chulliat et al. (2025), section 1.8.
const (
	cautionNT  = 6000
	blackoutNT = 2000
)

// ZoneOf returns the zone of a horizontal field in nanotesla. NaN counts as
// blackout.
func ZoneOf(hNT float64) Zone {
	switch {
	case hNT >= cautionNT:
		return ZoneOK
	case hNT >= blackoutNT:
		return ZoneCaution
	}
	return ZoneBlackout
}
