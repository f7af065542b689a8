package evaluate

import (
	"errors"
	"fmt"
	"time"

	"quietmount/magmath/geomag"
	"quietmount/magmath/remark"
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

// setReference sets the reference field at the craft's site, the date it is for,
// the model and how far outside its term that is, and notes what speaks against it.
func (f *Findings) setReference(o Options) error {
	site := f.Craft.Site
	if o.Date != "" {
		site.Date = o.Date
	}
	if site.Date == "" {
		var latest time.Time
		for _, r := range f.Runs {
			if r.Header.Started.After(latest) {
				latest = r.Header.Started
			}
		}
		if latest.IsZero() {
			return errors.New("no date: give one, or write date = \"YYYY-MM-DD\" under [site]")
		}
		site.Date = latest.Format(time.DateOnly)
	}
	year, err := site.Year(time.Time{})
	if err != nil {
		return fmt.Errorf("reference field: %w", err)
	}
	if err := site.Place().Check(); err != nil {
		return fmt.Errorf("site: %w", err)
	}
	model := o.Model
	if model == nil {
		model = geomag.WMM2025()
	}
	f.Reference, f.Date, f.Model, f.YearsOutside = model.At(site.Place(), year), site.Date, model.Name(), model.YearsOutside(year)
	f.HUT = f.Reference.H / 1000
	f.note(fieldNotes(f.Reference)...)
	f.note(model.Validity(year, site.AltitudeM)...)
	if f.YearsOutside > 0 {
		f.note(remark.New("evaluate.out_of_term", remark.Values{
			"model": f.Model, "years": f.YearsOutside, "h_sd_ut": f.HSDUT(), "h_sd_in_term_ut": geomag.Uncertainty(f.Reference).H / 1000}))
	}
	return nil
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
