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
