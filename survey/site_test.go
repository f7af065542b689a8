package survey

import (
	"testing"
	"time"

	"quietmount/magmath/geomag"
)

func TestSiteField(t *testing.T) {
	s := Site{LatitudeDeg: 53.3, LongitudeDeg: -9.1, AltitudeM: 1200}
	now := time.Date(2029, 1, 1, 0, 0, 0, 0, time.UTC)
	for date, year := range map[string]float64{"": 2029, "2026-01-01": 2026, "2027.5": 2027.5, "the day after": 2029} {
		s.Date = date
		if got, want := s.Field(now), geomag.WMM2025().At(geomag.Place{LatitudeDeg: 53.3, LongitudeDeg: -9.1, AltitudeM: 1200}, year); got != want {
			t.Errorf("%q: %+v, want %+v", date, got, want)
		}
	}
	if _, err := (Site{Date: "the day after"}).Year(now); err == nil {
		t.Error("a date that is none is read")
	}
}
