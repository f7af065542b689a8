package words_test

import (
	"errors"
	"fmt"
	"testing"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// The cause of a remark is worded by its type, however it is wrapped; what is
// not known shows as it is.
func TestCausesAreWorded(t *testing.T) {
	state := &survey.StateError{Name: "port", Suggest: "left", Known: []string{"background", "left"}}
	for _, tt := range []struct {
		err  error
		want string
	}{
		{state, state.Error()},
		{fmt.Errorf("capture 3: %w", dwell.ErrNoTiming), "no timing known: give load_on or current_a with the samples, or the rhythm of the pulses"},
		{&dwell.FewPulsesError{Got: 3, Need: 4}, "3 usable pulses, 4 are needed: capture again with more pulses or longer ones"},
		{&dwell.SampleError{Index: 6, Err: dwell.ErrNotFinite}, "sample 7: value is not a finite number: drop the sample at the decoder"},
		{&dwell.SampleError{Index: 6, Err: dwell.ErrBackwards}, "sample 7: time runs backwards: sort the samples or split the capture"},
		{&dwell.SampleError{Index: 6, Err: errors.New("odd")}, "sample 7: odd"},
		{dwell.ErrNoSamples, "no samples: wait for the stream, then capture again"},
		{logbook.ErrNoneReadable, "none of its captures can be read"},
	} {
		if got := words.Terminal.Cause(tt.err); got != tt.want {
			t.Errorf("%v: %q, want %q", tt.err, got, tt.want)
		}
		said := words.Page.Say(remark.New("evaluate.capture_left_out", remark.Values{"cause": tt.err}).At(remark.Place{Run: 2, Capture: 3, Station: "B2"}))
		if want := "Run 2, capture 3 at B2 is left out: " + tt.want + "."; said != want {
			t.Errorf("%v: %q, want %q", tt.err, said, want)
		}
	}
}
