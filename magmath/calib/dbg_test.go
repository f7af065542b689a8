package calib

import (
	"testing"
)

func TestDbg(t *testing.T) {
	for _, tr := range []struct {
		n    string
		a, b float64
	}{{magnetTrial, 38, 95}, {magnetTrial, 39, 94}, {quietTrial, 0, 1000}} {
		d := within(recorded(t, tr.n), tr.a, tr.b)
		for _, p := range []int{4, 6, 9} {
			o := DefaultOptions()
			o.Parameters = p
			r := Calibrate(d, o)
			t.Logf("%d off %.2f sd %.2f F %.2f s %.3f res %.3f neff %.0f M %.4f rej %d n %d chg %.1f cov %.2f %v", p, r.OffsetUT, r.OffsetStandardUT, r.FieldUT, r.NoiseUT, r.ResidualUT, r.EffectiveSamples, r.Matrix, r.Rejected, r.Samples, r.Changes, r.AttitudesCovered, r.Candidates)
		}
	}
}
