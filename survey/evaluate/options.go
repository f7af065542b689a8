package evaluate

import (
	"errors"
	"fmt"
	"time"

	"quietmount/magmath/geomag"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// ErrNoRuns and ErrNothing are what callers may want to tell apart.
var (
	ErrNoRuns  = errors.New("no runs")
	ErrNothing = errors.New("none of the captures can be used")
)

// Options steer Evaluate. The zero value takes the date from the craft file
// or the latest run and the built-in reference model.
type Options struct {
	Date  string        // YYYY-MM-DD or a decimal year; empty: the craft file's, else the latest run's
	Model *geomag.Model // nil: WMM2025
}

// reference is the reference field at the craft's site.
func reference(c *survey.Craft, runs []*logbook.Run, o Options) (geomag.Elements, string, []remark.Remark, error) {
	date := o.Date
	if date == "" {
		date = c.Site.Date
	}
	if date == "" {
		var latest time.Time
		for _, r := range runs {
			if r.Header.Started.After(latest) {
				latest = r.Header.Started
			}
		}
		if latest.IsZero() {
			return geomag.Elements{}, "", nil, errors.New("no date: give one, or write date = \"YYYY-MM-DD\" under [site]")
		}
		date = latest.Format(time.DateOnly)
	}
	year, err := geomag.ParseDate(date)
	if err != nil {
		return geomag.Elements{}, "", nil, fmt.Errorf("reference field: %w", err)
	}
	place := geomag.Place{LatitudeDeg: c.Site.LatitudeDeg, LongitudeDeg: c.Site.LongitudeDeg, AltitudeM: c.Site.AltitudeM}
	if err := place.Check(); err != nil {
		return geomag.Elements{}, "", nil, fmt.Errorf("site: %w", err)
	}
	model := o.Model
	if model == nil {
		model = geomag.WMM2025()
	}
	e := model.At(place, year)
	return e, date, fieldNotes(e, year), nil
}

// ReferenceH is the horizontal reference field at the craft's site, microtesla,
// at its own date, else at the given moment.
func ReferenceH(c *survey.Craft, now time.Time) (float64, error) {
	o := Options{}
	if c.Site.Date == "" {
		o.Date = now.Format(time.DateOnly)
	}
	e, _, _, err := reference(c, nil, o)
	return e.H / 1000, err
}

// cautionNT and blackoutNT are the published warning limits of H.
// Source: Chulliat et al. (2025), The US/UK World Magnetic Model for
// 2025-2030, on blackout and caution zones.
const (
	cautionNT  = 6000
	blackoutNT = 2000
)

func fieldNotes(e geomag.Elements, year float64) []remark.Remark {
	var notes []remark.Remark
	switch {
	case e.H < blackoutNT:
		notes = append(notes, remark.New("evaluate.blackout_zone", remark.Values{"h_ut": e.H / 1000}))
	case e.H < cautionNT:
		notes = append(notes, remark.New("evaluate.caution_zone", remark.Values{"h_ut": e.H / 1000}))
	}
	if year < 2025 || year > 2030 {
		notes = append(notes, remark.New("evaluate.model_years", remark.Values{"year": year}))
	}
	return notes
}
