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

// Errors of Evaluate.
var (
	ErrNoRuns  = errors.New("no runs")
	ErrNothing = errors.New("none of the captures can be used")
)

// Options steer Evaluate. The zero value takes the date from the craft file
// or the latest run and the built-in reference model.
type Options struct {
	Date  string        // YYYY-MM-DD or a decimal year; empty: the craft file's, else the latest run's
	Model *geomag.Model // nil: WMM2025

	// Progress is called with the progress of the evaluation, after each run and
	// each map; nil: not reported. It must return at once.
	Progress func(Progress)
}

// Progress is how far an evaluation is.
type Progress struct {
	Captures, OfCaptures int // read
	Maps, OfMaps         int // fitted
}

// reference returns the reference field at the craft's site, with the date it is
// for and remarks.
func reference(c *survey.Craft, runs []*logbook.Run, o Options) (geomag.Elements, string, []remark.Remark, error) {
	site := c.Site
	if o.Date != "" {
		site.Date = o.Date
	}
	if site.Date == "" {
		var latest time.Time
		for _, r := range runs {
			if r.Header.Started.After(latest) {
				latest = r.Header.Started
			}
		}
		if latest.IsZero() {
			return geomag.Elements{}, "", nil, errors.New("no date: give one, or write date = \"YYYY-MM-DD\" under [site]")
		}
		site.Date = latest.Format(time.DateOnly)
	}
	year, err := site.Year(time.Time{})
	if err != nil {
		return geomag.Elements{}, "", nil, fmt.Errorf("reference field: %w", err)
	}
	if err := site.Place().Check(); err != nil {
		return geomag.Elements{}, "", nil, fmt.Errorf("site: %w", err)
	}
	model := o.Model
	if model == nil {
		model = geomag.WMM2025()
	}
	e := model.At(site.Place(), year)
	return e, site.Date, append(fieldNotes(e), model.Validity(year, site.AltitudeM)...), nil
}

func fieldNotes(e geomag.Elements) []remark.Remark {
	var notes []remark.Remark
	switch geomag.ZoneOf(e.H) {
	case geomag.ZoneBlackout:
		notes = append(notes, remark.New("evaluate.blackout_zone", remark.Values{"h_ut": e.H / 1000}))
	case geomag.ZoneCaution:
		notes = append(notes, remark.New("evaluate.caution_zone", remark.Values{"h_ut": e.H / 1000}))
	}
	return notes
}
