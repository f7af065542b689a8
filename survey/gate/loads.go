package gate

import (
	"context"

	"quietmount/magmath/remark"
)

// loadsNotMeasured fails for loads that the craft file describes and no run has:
// what they do to a compass is not known anywhere.
func loadsNotMeasured(_ context.Context, s subject) Check {
	var names []string
	for _, l := range s.f.Loads {
		if !l.Measured {
			names = append(names, l.Name)
		}
	}
	if len(names) == 0 {
		return passed()
	}
	return failed(remark.New("gate.loads_not_measured", remark.Values{"loads": names, "of": len(s.f.Loads)}))
}
