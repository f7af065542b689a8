package live

import (
	"testing"

	"quietmount/report/answer"
)

// What speaks against a spot is no open question, though other loads are still
// to be pulsed there.
func TestVerdictOfAProof(t *testing.T) {
	missing := []proveLoad{{Name: "motor", Measured: &[3]float64{9, 0, 0}}, {Name: "other"}}
	for want, v := range map[string]proveView{
		"yes":  {Answer: &answer.Prove{OK: true}},
		"no":   {Answer: &answer.Prove{}, failed: true, Loads: missing},
		"open": {Answer: &answer.Prove{}, Loads: missing},
	} {
		if got := v.Verdict(); got != want {
			t.Errorf("the verdict is %q, want %q", got, want)
		}
	}
}
