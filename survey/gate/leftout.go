package gate

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
)

// Limits of the check that leaves stations out. A map may be poor where the grid is
// coarse, as long as it says so: what is judged is whether its intervals hold. A
// harmless misfit is one that the signal dwarfs or the budget does not notice.
const (
	leftOutStations = 8    // fewer tell nothing
	leftOutInside   = 0.75 // of the components inside their 95 % interval
	leftOutSignal   = 0.3  // of the root mean square of the signal
	leftOutBudget   = 0.5  // of the limit in degrees
)

// leftOut judges the map of each part by its error where a station was left out,
// against the signal and in degrees of heading.
func leftOut(_ context.Context, s subject) Check {
	out := abstain(remark.New("gate.few_stations", remark.Values{"least": leftOutStations}))
	for _, part := range []string{"steady", "shifting"} {
		l, ok := s.f.LeftOut[part]
		if !ok || l.Stations < leftOutStations || math.IsNaN(l.RMSEUT) {
			continue
		}
		signal := s.signal(part)
		deg := asDegrees(l.RMSEUT, s.f.HUT)
		limit := s.f.Craft.Limits.HeadingErrorDeg
		if part == "steady" {
			limit = asDegrees(s.f.SteadyBudgetUT(), s.f.HUT)
		}
		if deg > leftOutBudget*limit && l.RMSEUT > leftOutSignal*signal && l.Inside95Fraction < leftOutInside {
			return failed(remark.New("gate.left_out", remark.Values{
				"part": part, "rmse_ut": l.RMSEUT, "signal_ut": signal, "heading_error_deg": deg, "inside_fraction": l.Inside95Fraction,
			}))
		}
		if out.State == Abstained {
			out = passed()
		}
	}
	return out
}

// asDegrees is the heading error of a disturbance across a horizontal field, both
// microtesla.
func asDegrees(ut, hUT float64) float64 {
	if !(ut < hUT) {
		return 90
	}
	return math.Asin(ut/hUT) * 180 / math.Pi
}

// signal returns the root mean square of a part over the stations, a component,
// microtesla.
func (s subject) signal(part string) float64 {
	sum, n := 0.0, 0.0
	add := func(e evaluate.Estimate) { sum, n = sum+r3.Norm2(e.Mean)/3, n+1 }
	for _, st := range s.f.Stations {
		if part == "steady" && st.Steady != nil {
			add(*st.Steady)
		}
		if part == "shifting" {
			for _, e := range st.Loads {
				add(e)
			}
		}
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / n)
}
