package evaluate

import (
	"math"
	"strings"
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
		{survey.Site{}, "", "2032-03-01", 2},
		{survey.Site{Date: "2026-06-01"}, "", "2026-06-01", 0},
		{survey.Site{Date: "2032-06-01"}, "2027.5", "2027.5", 0},
		{survey.Site{Date: "2026-06-01", AltitudeM: 900e3}, "", "2026-06-01", 1},
		{survey.Site{Date: "2020-06-01", AltitudeM: 900e3}, "", "2020-06-01", 3},
	} {
		tt.site.LatitudeDeg = 10 // the compass has field enough there
		f := &Findings{Craft: &survey.Craft{Site: tt.site}, Runs: runs}
		err := f.setReference(Options{Date: tt.asked})
		e, date, notes := f.Reference, f.Date, f.Notes
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

// Any coefficient file brings its own term, and outside it H grows uncertain: by
// hypot(133, 30 nT times the years), worked by hand.
func TestAnotherModelHasItsOwnTerm(t *testing.T) {
	const invented = "1990.0 INVENTED 01/01/1990\n" +
		"  1  0  -29000.0       0.0        0.0        0.0\n" +
		"  1  1   -1500.0    4600.0        0.0        0.0\n" +
		"999999999999999999999999999999999999999999999999\n" +
		"999999999999999999999999999999999999999999999999\n"
	model, err := geomag.ReadCOF(strings.NewReader(invented), "invented.cof")
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		date    string
		years   float64
		hsdUT   float64
		remarks int
	}{{"1992.5", 0, 0.133, 0}, {"1995", 0, 0.133, 0}, {"1998", 3, 0.16056, 2}, {"1986", 4, 0.17913, 2}} {
		f := &Findings{Craft: &survey.Craft{Site: survey.Site{LatitudeDeg: 10, Date: tt.date}}}
		if err := f.setReference(Options{Model: model}); err != nil {
			t.Fatal(err)
		}
		m := f.Mounting()
		if f.Model != model.Name() || f.YearsOutside != tt.years || math.Abs(m.HSDUT-tt.hsdUT) > 1e-4 || len(f.Notes) != tt.remarks || m.HSDUT != f.HSDUT() {
			t.Errorf("%s: %s, %g years outside, H +- %g uT, %v", tt.date, f.Model, f.YearsOutside, m.HSDUT, f.Notes)
		}
	}
}
