package survey

import (
	"time"

	"quietmount/magmath/geomag"
)

// Site is where and when the craft is used.
type Site struct {
	LatitudeDeg, LongitudeDeg float64
	AltitudeM                 float64 // above the WGS 84 ellipsoid
	Date                      string  // YYYY-MM-DD or a decimal year; empty for the run's own date
}

// Place returns the site as a place of the reference model.
func (s Site) Place() geomag.Place {
	return geomag.Place{LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg, AltitudeM: s.AltitudeM}
}

// Year returns the site's own date as a decimal year; that of the time
// otherwise if the site has no date. A date that cannot be read is a
// *geomag.DateError.
func (s Site) Year(otherwise time.Time) (float64, error) {
	if s.Date == "" {
		return geomag.DecimalYear(otherwise), nil
	}
	return geomag.ParseDate(s.Date)
}

// YearsOutside returns by how many years the date of Field lies outside the term
// of the World Magnetic Model.
func (s Site) YearsOutside(otherwise time.Time) float64 {
	return geomag.WMM2025().YearsOutside(s.year(otherwise))
}

// year is Year, with the time for a date that cannot be read.
func (s Site) year(otherwise time.Time) float64 {
	year, err := s.Year(otherwise)
	if err != nil {
		return geomag.DecimalYear(otherwise)
	}
	return year
}

// Field returns the reference field of the World Magnetic Model at the site, in
// nanotesla and degrees, on the site's own date; at the time otherwise if the
// site has no readable date.
func (s Site) Field(otherwise time.Time) geomag.Elements {
	return geomag.WMM2025().At(s.Place(), s.year(otherwise))
}
