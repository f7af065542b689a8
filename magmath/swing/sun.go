package swing

import (
	"math"
	"time"

	"quietmount/magmath/heading"
)

// Sun returns where the sun stands: azimuth clockwise from true north and height
// of its centre above the horizon, geometric, without refraction, in degrees.
// Latitude is positive north, longitude positive east. Good to about 0.02
// degrees from 1950 to 2050; the azimuth means little where the sun is close
// to the zenith, and there the uncertainty grows with 1/cos(height).
//
// Source: Meeus, Astronomical Algorithms, 2nd edition, chapters 12, 13, 22 and
// 25 (low accuracy). The difference of terrestrial and universal time is
// taken as 70 s: 0.0008 degrees of the sun's way.
func Sun(latDeg, lonDeg float64, at time.Time) (azimuthDeg, heightDeg float64) {
	days := julianDay(at) - 2451545
	ra, declination := sunEquatorial((days + 70./86400) / 36525)
	t := days / 36525
	sidereal := 280.46061837 + 360.98564736629*days + 0.000387933*t*t
	hour := rad(sidereal + lonDeg - ra)
	phi, delta := rad(latDeg), rad(declination)
	sinH, cosH := math.Sincos(hour)
	east := -math.Cos(delta) * sinH
	north := math.Sin(delta)*math.Cos(phi) - math.Cos(delta)*math.Sin(phi)*cosH
	up := math.Sin(delta)*math.Sin(phi) + math.Cos(delta)*math.Cos(phi)*cosH
	return heading.Wrap360(deg(math.Atan2(east, north))), deg(math.Asin(max(-1, min(1, up))))
}

// sunEquatorial returns the sun's apparent right ascension and declination in
// degrees, t centuries of terrestrial time after J2000.
func sunEquatorial(t float64) (ra, declination float64) {
	mean := 280.46646 + t*(36000.76983+t*0.0003032)
	m := rad(357.52911 + t*(35999.05029-t*0.0001537))
	centre := (1.914602-t*(0.004817+t*0.000014))*math.Sin(m) +
		(0.019993-t*0.000101)*math.Sin(2*m) + 0.000289*math.Sin(3*m)
	node := rad(125.04 - 1934.136*t)
	lambda := rad(mean + centre - 0.00569 - 0.00478*math.Sin(node))
	tilt := rad(23.439291 - t*(0.0130042+t*(1.64e-7-t*5.04e-7)) + 0.00256*math.Cos(node))
	sinL, cosL := math.Sincos(lambda)
	return heading.Wrap360(deg(math.Atan2(math.Cos(tilt)*sinL, cosL))), deg(math.Asin(math.Sin(tilt) * sinL))
}

// julianDay returns the Julian date of a moment, universal time: 2440587.5 is the
// beginning of 1970.
func julianDay(at time.Time) float64 {
	return 2440587.5 + (float64(at.Unix())+float64(at.Nanosecond())/1e9)/86400
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }
func deg(rad float64) float64 { return rad * 180 / math.Pi }
