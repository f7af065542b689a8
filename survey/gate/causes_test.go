package gate

import (
	"testing"

	"quietmount/magmath/remark"
)

// TestCauses holds that one fault is told once, and that none is hidden by another.
func TestCauses(t *testing.T) {
	check := func(code Code, run, capture, toRun, to int) Check {
		return Check{Code: code, State: Failed, Why: remark.New("gate.stretch", remark.Values{"to_run": toRun, "to_capture": to}).At(remark.Place{Run: run, Capture: capture})}
	}
	dip, hand, scale := Check{Code: DipSign}, Check{Code: Handedness}, check(ScaleChange, 2, 10, 2, 18)
	for _, c := range []struct {
		name       string
		have, want []Check
	}{
		{"nothing", nil, nil},
		{"upside down", []Check{dip, hand}, []Check{dip}},
		{"mirrored alone", []Check{hand}, []Check{hand}},
		{"stretch in the change", []Check{scale, check(Stretch, 2, 11, 0, 17)}, []Check{scale}},
		{"stretch before it", []Check{scale, check(Stretch, 2, 3, 0, 7)}, []Check{scale, check(Stretch, 2, 3, 0, 7)}},
		{"stretch beyond it", []Check{scale, check(Stretch, 3, 3, 0, 7)}, []Check{scale, check(Stretch, 3, 3, 0, 7)}},
	} {
		got := Causes(c.have)
		same := len(got) == len(c.want)
		for i := range got {
			same = same && got[i].Code == c.want[i].Code
		}
		if !same {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}
