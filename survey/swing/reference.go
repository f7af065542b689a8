package swing

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/geomag"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/swing"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Site is the reference field of a craft's site.
type Site struct {
	FieldUT          r3.Vec  // x to magnetic north, z down
	DeclinationDeg   float64 // east of true north
	DeclinationSUDeg float64
	LatitudeDeg      float64
	LongitudeDeg     float64
}

// SiteOf returns the reference field at the craft's site on the site's date, or now
// if it has none.
func SiteOf(craft *survey.Craft, now time.Time) Site {
	s := craft.Site
	e := s.Field(now)
	return Site{
		FieldUT: r3.Vec{X: e.H / 1000, Z: e.Z / 1000}, DeclinationDeg: e.D, DeclinationSUDeg: geomag.UncertaintyBeyond(e, s.YearsOutside(now)).D,
		LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg,
	}
}

// Turned returns the field with x along a direction of the given magnetic azimuth
// instead of magnetic north.
func (s Site) Turned(azimuthDeg float64) r3.Vec {
	sin, cos := math.Sincos(azimuthDeg * math.Pi / 180)
	return r3.Vec{X: s.FieldUT.X * cos, Y: -s.FieldUT.X * sin, Z: s.FieldUT.Z}
}

// Reference says to which magnetic direction the marks of a swing point.
type Reference struct {
	Kind     string  // logbook.ReferenceMarks and so on
	ZeroDeg  float64 // magnetic direction of mark 0
	SUDeg    float64 // its standard uncertainty
	Relative bool
	From     remark.Remark // where the direction of mark 0 comes from

	// For bearings of the sun with each heading:
	LatitudeDeg, LongitudeDeg, DeclinationDeg float64
}

// magnetic returns the magnetic heading of a dwell by the reference.
func (r Reference) magnetic(d Dwell) float64 {
	if d.SunDeg == nil {
		return heading.Wrap360(d.MarkDeg + r.ZeroDeg)
	}
	azimuth, _ := swing.Sun(r.LatitudeDeg, r.LongitudeDeg, d.Time)
	return heading.Wrap360(azimuth - *d.SunDeg - r.DeclinationDeg)
}

// What a reference is uncertain by, degrees; common practice, no source.
const (
	marksSUDeg = 1.0 // mark 0 laid along magnetic north with a hand compass away from iron
	lineSUDeg  = 0.2 // an edge sighted along
	sunSUDeg   = 0.5 // a shadow's edge
)

// Marks returns the reference of a turntable whose mark 0 points to the given magnetic
// direction; relative: nobody knows where it points.
func Marks(zeroDeg float64, relative bool) Reference {
	r := Reference{Kind: logbook.ReferenceMarks, ZeroDeg: zeroDeg, SUDeg: marksSUDeg, Relative: relative}
	r.From = remark.New("swing.from:marks", remark.Values{"zero_deg": zeroDeg})
	if relative {
		r.SUDeg, r.From = 0, remark.New("swing.from:marks-alone")
	}
	return r
}

// Line returns the reference of a surveyed line of the given true direction, along which mark 0
// points.
func (s Site) Line(trueDeg float64) Reference {
	return Reference{
		Kind: logbook.ReferenceLine, ZeroDeg: heading.Wrap360(trueDeg - s.DeclinationDeg), SUDeg: math.Hypot(lineSUDeg, s.DeclinationSUDeg),
		From: remark.New("swing.from:line", remark.Values{"true_deg": trueDeg, "declination_deg": s.DeclinationDeg}),
	}
}

// Sun returns the reference of a sight of the sun at the given moment, in a bearing clockwise from
// mark 0. A sun below the horizon, or so high that its azimuth says little, is
// an error.
func (s Site) Sun(bearingDeg float64, at time.Time) (Reference, error) {
	azimuth, height := swing.Sun(s.LatitudeDeg, s.LongitudeDeg, at)
	if err := usable(height, at); err != nil {
		return Reference{}, err
	}
	r := s.sunReference(height)
	r.ZeroDeg = heading.Wrap360(azimuth - bearingDeg - s.DeclinationDeg)
	r.From = remark.New("swing.from:sun", remark.Values{"true_deg": azimuth, "at": at.Format(time.RFC3339), "declination_deg": s.DeclinationDeg})
	return r, nil
}

// SunEach returns the reference of a bearing of the sun with every heading.
func (s Site) SunEach(dwells []Dwell) (Reference, error) {
	highest := 0.0
	for _, d := range dwells {
		_, height := swing.Sun(s.LatitudeDeg, s.LongitudeDeg, d.Time)
		if err := usable(height, d.Time); err != nil {
			return Reference{}, fmt.Errorf("%s: %w", d.Name, err)
		}
		highest = max(highest, height)
	}
	r := s.sunReference(highest)
	r.From = remark.New("swing.from:sun-each", remark.Values{"declination_deg": s.DeclinationDeg})
	return r, nil
}

func (s Site) sunReference(heightDeg float64) Reference {
	shadow := sunSUDeg / math.Cos(heightDeg*math.Pi/180)
	return Reference{
		Kind: logbook.ReferenceSun, SUDeg: math.Hypot(shadow, s.DeclinationSUDeg),
		LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg, DeclinationDeg: s.DeclinationDeg,
	}
}

// highestSunDeg: above it a shadow is too short to point.
const highestSunDeg = 75

func usable(heightDeg float64, at time.Time) error {
	switch {
	case heightDeg < 0:
		return fmt.Errorf("the sun is %.0f degrees below the horizon there at %s: is the time with its zone right, and the site?", -heightDeg, at.Format(time.RFC3339))
	case heightDeg > highestSunDeg:
		return fmt.Errorf("the sun stands %.0f degrees high there at %s: its azimuth says too little; wait until it is below %d", heightDeg, at.Format(time.RFC3339), highestSunDeg)
	}
	return nil
}
