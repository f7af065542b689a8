package evaluate

import (
	"testing"
	"time"

	"quietmount/magmath/geomag"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// The model's own validity decides, in years and in height; the date asked for
// comes before the craft's, and that before the latest run's.
func TestReferenceFieldOutsideTheModel(t *testing.T) {
	runs := []*logbook.Run{{Header: logbook.Header{Started: time.Date(2032, 3, 1, 0, 0, 0, 0, time.UTC)}}}
	model := geomag.WMM2025()
	for _, tt := range []struct {
		site   survey.Site
		asked  string
		date   string
		doubts int
	}{
		{survey.Site{}, "", "2032-03-01", 1},
		{survey.Site{Date: "2026-06-01"}, "", "2026-06-01", 0},
		{survey.Site{Date: "2032-06-01"}, "2027.5", "2027.5", 0},
		{survey.Site{Date: "2026-06-01", AltitudeM: 900e3}, "", "2026-06-01", 1},
		{survey.Site{Date: "2020-06-01", AltitudeM: 900e3}, "", "2020-06-01", 2},
	} {
		tt.site.LatitudeDeg = 10 // the compass has field enough there
		e, date, notes, err := reference(&survey.Craft{Site: tt.site}, runs, Options{Date: tt.asked})
		if err != nil || date != tt.date || len(notes) != tt.doubts {
			t.Errorf("%+v asked for %q: %q, %v, %v", tt.site, tt.asked, date, notes, err)
		}
		year, err := geomag.ParseDate(tt.date)
		if err != nil || e != model.At(tt.site.Place(), year) {
			t.Errorf("%+v asked for %q: %+v, %v", tt.site, tt.asked, e, err)
		}
		for _, n := range notes {
			if n.Values["model"] != model.Name() {
				t.Errorf("%v does not name the model", n)
			}
		}
	}
}
