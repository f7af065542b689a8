package words

import (
	"text/template"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// causes word the errors that are values of remarks: the first that knows the
// error counts. The sentences are the keys "cause.NAME" of cause.txt. An error
// that none knows shows as its own text.
var causes = []func(error) (remark.Remark, bool){
	as(func(e *survey.StateError) remark.Remark {
		return remark.New("cause.no_state", remark.Values{"state": e.Name, "suggest": e.Suggest, "known": e.Known})
	}),
	is(logbook.ErrNoneReadable, remark.New("cause.none_readable")),
	is(dwell.ErrNoTiming, remark.New("cause.no_timing")),
	as(func(e *dwell.FewPulsesError) remark.Remark {
		return remark.New("cause.few_pulses", remark.Values{"pulses": e.Got, "least": e.Need})
	}),
	as(func(e *dwell.SampleError) remark.Remark {
		switch e.Err {
		case dwell.ErrNotFinite:
			return remark.New("cause.not_finite", remark.Values{"sample": e.Index + 1})
		case dwell.ErrBackwards:
			return remark.New("cause.backwards", remark.Values{"sample": e.Index + 1})
		}
		return remark.Remark{}
	}),
	is(dwell.ErrNoSamples, remark.New("cause.no_samples")),
}

// Cause returns an error that is a value of a remark, in the words of a face.
func (f Face) Cause(err error) string { return cause(faces[f](), err) }

func cause(t *template.Template, err error) string {
	for _, known := range causes {
		if r, ok := known(err); ok {
			return worded(t, r)
		}
	}
	return err.Error()
}
