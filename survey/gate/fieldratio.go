package gate

import (
	"context"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
)

// A room of brick or wood changes the strength of the field by one per cent, one
// with steel in floor and furniture by several, and beside a radiator or over a
// beam by up to a fifth. A probe that sends another unit or another range is out by
// two at least, one whose calibration was never made by a quarter of the field and
// more. Own judgement from these, no source: beyond 25 per cent no answer is given,
// from 12 on the ratio is told.
const (
	ratioLow, ratioHigh       = 0.75, 1.30
	ratioNearLow, ratioNearHi = 0.88, 1.13
)

// fieldRatio compares the strength of the field without the craft with that of the
// reference.
func fieldRatio(_ context.Context, s subject) Check {
	want := s.f.Reference.F / 1000
	out := abstain(remark.New("gate.no_ambient"))
	for room := range s.f.Rooms {
		mean, n := s.ambient(room)
		if n == 0 {
			continue
		}
		got := r3.Norm(mean)
		values := remark.Values{"strength_ut": got, "reference_ut": want, "ratio": got / want}
		switch ratio := got / want; {
		case ratio < ratioLow || ratio > ratioHigh:
			return failed(remark.New("gate.field_ratio", values))
		case ratio < ratioNearLow || ratio > ratioNearHi:
			out = near(remark.New("gate.field_ratio_near", values))
		case out.State == Abstained:
			out = passed()
		}
	}
	return out
}
