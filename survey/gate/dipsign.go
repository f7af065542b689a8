package gate

import (
	"context"
	"math"

	"quietmount/magmath/remark"
)

// leastDipDeg is the dip under which its sign tells nothing: at 10 degrees the
// vertical part of the field is a sixth of the whole, as much as a room may add.
const leastDipDeg = 10

// dipSign compares the sign of the vertical field, down positive, with that of the
// reference. It takes a vertical part of the wrong sign and of more than a third of
// the expected one: less than that is a room, not a sensor upside down.
func dipSign(_ context.Context, s subject) Check {
	r := s.f.Reference
	if math.Abs(r.I) < leastDipDeg {
		return abstain(remark.New("gate.dip_small", remark.Values{"dip_deg": r.I}))
	}
	want := r.Z / 1000
	any := false
	for room := range s.f.Rooms {
		mean, n := s.ambient(room)
		if n == 0 {
			continue
		}
		any = true
		if mean.Z*math.Copysign(1, want) < -math.Abs(want)/3 {
			return failed(remark.New("gate.dip_sign", remark.Values{"z_ut": mean.Z, "reference_z_ut": want}))
		}
	}
	if !any {
		return abstain(remark.New("gate.no_ambient"))
	}
	return passed()
}
