package geomag

import (
	"fmt"
	"math"
)

// Place is a point by its geodetic latitude and longitude (north and east
// positive) and its height above the WGS 84 ellipsoid.
//
// At a pole the longitude gives the direction of X: along that meridian towards
// the north. The published pole values are those of longitude 0.
type Place struct {
	LatitudeDeg, LongitudeDeg, AltitudeM float64
}

// RangeError is a number that has no meaning for a place, such as a latitude
// of 95 degrees.
type RangeError struct {
	What      string // what the number is, with its unit in words
	Value     float64
	Low, High float64 // the allowed range, both ends included
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %g is out of range, give %g to %g", e.What, e.Value, e.Low, e.High)
}

// The heights that Check allows: from deeper than any mine or trench to well beyond
// geostationary orbit. Model.Validity has the heights for which a model is meant.
const (
	lowestM  = -20e3
	highestM = 100e6
)

// Check returns a *RangeError for a latitude beyond 90 degrees, a longitude
// outside -180 to 360, a height outside -20 km to 100 000 km, or a number that is
// not finite.
func (p Place) Check() error {
	for _, c := range []RangeError{
		{"latitude in degrees", p.LatitudeDeg, -90, 90},
		{"longitude in degrees", p.LongitudeDeg, -180, 360},
		{"altitude in metres", p.AltitudeM, lowestM, highestM},
	} {
		if !(c.Value >= c.Low && c.Value <= c.High) {
			return &c
		}
	}
	return nil
}

// WGS 84 ellipsoid.
// Source: NGA.STND.0036, World Geodetic System 1984, defining parameters.
const (
	semiMajorKM = 6378.137
	flattening  = 1 / 298.257223563
)

// spherical is a place in geocentric coordinates: distance from the centre, sines
// and cosines of colatitude and longitude, and those of the small rotation from
// spherical to geodetic components.
type spherical struct {
	radiusKM         float64
	cosColat         float64
	sinColat         float64
	cosLon, sinLon   float64
	cosTurn, sinTurn float64 // of geocentric less geodetic latitude
}

// spherical converts geodetic to geocentric coordinates. It has no singular
// point: at a pole sinColat is zero or a rounding error from it.
//
// Source: Chulliat et al. (2025), section 1.2, equations for the coordinate
// transformation; the same as in any textbook of geodesy.
func (p Place) spherical() spherical {
	const e2 = flattening * (2 - flattening)
	sinLat, cosLat := math.Sincos(p.LatitudeDeg * degree)
	sinLon, cosLon := math.Sincos(math.Remainder(p.LongitudeDeg, 360) * degree)
	normal := semiMajorKM / math.Sqrt(1-e2*sinLat*sinLat)
	height := p.AltitudeM / 1000
	axial := (normal*(1-e2) + height) * sinLat
	equatorial := (normal + height) * cosLat
	r := math.Hypot(axial, equatorial)
	c, s := axial/r, equatorial/r
	return spherical{
		radiusKM: r, cosColat: c, sinColat: s, cosLon: cosLon, sinLon: sinLon,
		cosTurn: s*cosLat + c*sinLat,
		sinTurn: c*cosLat - s*sinLat,
	}
}
