package console

import (
	"encoding/json"
	"fmt"
	"io"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/report/words"
	"quietmount/survey/guide"
	"quietmount/survey/walk"
)

// line is one line of the JSON face.
type line struct {
	Event   string `json:"event"`
	Station string `json:"station,omitempty"`
	Visit   string `json:"visit,omitempty"`

	XMM *float64 `json:"x_mm,omitempty"`
	YMM *float64 `json:"y_mm,omitempty"`
	ZMM *float64 `json:"z_mm,omitempty"`

	On *bool `json:"on,omitempty"`

	Capture      *int        `json:"capture,omitempty"`
	BUT          *[3]float64 `json:"b_ut,omitempty"`
	DifferenceUT *[3]float64 `json:"difference_ut,omitempty"`
	Samples      *int        `json:"samples,omitempty"`
	Uncertainty  *float64    `json:"standard_uncertainty_ut,omitempty"`

	Why  string `json:"why,omitempty"`
	Code string `json:"code,omitempty"`

	Craft     string   `json:"craft,omitempty"`
	State     string   `json:"state,omitempty"`
	Run       int      `json:"run,omitempty"`
	Checklist []string `json:"checklist,omitempty"`

	Captures *int    `json:"captures,omitempty"`
	Finished *bool   `json:"finished,omitempty"`
	File     *string `json:"file,omitempty"`

	Done        *int     `json:"visits_done,omitempty"`
	Total       *int     `json:"visits_planned,omitempty"`
	SecondsLeft *float64 `json:"left_s,omitempty"`
}

// JSONFace shows a walk to a script: one JSON object a line, each written in
// one go. Events that only matter to people are left out; the loss and the
// return of the link are warnings.
func JSONFace(w io.Writer, about walk.About) func(guide.Event) error {
	return func(e guide.Event) error {
		l, ok := lineOf(e, about)
		if !ok {
			return nil
		}
		b, err := json.Marshal(l)
		if err != nil {
			return fmt.Errorf("event %s: %w", e.Kind, err)
		}
		_, err = w.Write(append(b, '\n'))
		return err
	}
}

// lineOf returns the line of an event; false where scripts are not told of it.
func lineOf(e guide.Event, about walk.About) (line, bool) {
	l := line{Event: string(e.Kind), Station: e.Station.Name, Why: words.Terminal.Say(e.Why), Code: e.Code()}
	switch e.Kind {
	case guide.Ready:
		l.Craft, l.State, l.Run, l.File, l.Checklist = about.Craft, about.State, about.Run, &about.File, checklist(e.Items)
		l.progress(e.Progress)
	case guide.Go:
		at := e.Station.At
		l.XMM, l.YMM, l.ZMM, l.Visit = &at.X, &at.Y, &at.Z, string(e.Visit)
		l.progress(e.Progress)
	case guide.Switch:
		l.On = &e.On
	case guide.Captured:
		c := e.Capture
		n := len(c.Samples)
		l.Capture, l.Samples, l.Uncertainty, l.Visit = &c.Number, &n, &c.UncertaintyUT, string(c.Visit)
		l.BUT = array(c.BUT)
		if e.Difference != nil {
			l.DifferenceUT = array(*e.Difference)
		}
		l.progress(e.Progress)
	case guide.Rejected, guide.Warning:
	case guide.Paused, guide.Resumed:
		l.Event = string(guide.Warning)
	case guide.Done:
		finished := e.Code() == guide.CodeFinished
		l.Captures, l.File, l.Finished = &e.Captures, &about.File, &finished
	default:
		return line{}, false
	}
	return l, true
}

// checklist returns the items; nil for none, which leaves the key out.
func checklist(items []remark.Remark) []string {
	if len(items) == 0 {
		return nil
	}
	return words.Terminal.All(items)
}

func (l *line) progress(p guide.Progress) {
	l.Done, l.Total, l.SecondsLeft = &p.Done, &p.Total, &p.SecondsLeft
}

func array(v r3.Vec) *[3]float64 { return &[3]float64{v.X, v.Y, v.Z} }
