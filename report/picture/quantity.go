package picture

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// The parts of a map that are not a load's name.
const (
	PartShifting  = "shifting"
	PartSteady    = "steady"
	PartMagnitude = "magnitude"
)

// quantity is what a map shows: a number at every place, or only at stations.
type quantity struct {
	part, title string
	unit        string // degrees or µT
	legend      string // beside the bar
	limit       float64
	limitWords  string  // of the line drawn at limit
	doubt       float64 // a bound below this does no harm and is never doubtful
	ratio       float64 // a bound over this many times the estimate is doubtful
	assumed     string  // how it was interpolated
	most        float64 // values from here on are drawn alike; 0: none are

	at      func(sensors []r3.Vec) (estimate, upper []float64) // nil: stations only
	station func(findings.StationFinding) float64              // NaN: not measured
	signed  bool                                               // stations show a sign
}

// rightAngle is the largest heading error short of one that can be anything:
// beyond it the error is stated as 180 degrees, a step that is none of the
// field's.
const rightAngle = 90

// capped is v as it is drawn.
func (q quantity) capped(v float64) float64 {
	if q.most > 0 {
		return min(v, q.most)
	}
	return v
}

// Where a disturbance is as small as twice its standard uncertainty a
// component, its 95 % bound is about twice the size of its mean, and the bound
// of a heading error about 1.7 times its median (quantiles of the noncentral
// chi distributions of three and two degrees of freedom). Beyond, the map
// cannot tell the value from nothing.
const (
	meanRatio   = 2.0
	medianRatio = 1.7
)

// quantityOf chooses what to draw; an empty part is shifting if that was
// measured, else steady, else magnitude.
func quantityOf(f *findings.Findings, part string) (quantity, error) {
	if part == "" {
		part = firstPart(f)
	}
	switch part {
	case PartShifting:
		return shifting(f)
	case PartSteady:
		return steady(f)
	case PartMagnitude:
		return magnitude(f)
	}
	return loadAlone(f, part)
}

func firstPart(f *findings.Findings) string {
	switch {
	case f.Map != nil && len(f.Map.Loads) > 0:
		return PartShifting
	case f.Map != nil && f.Map.Steady != nil:
		return PartSteady
	}
	return PartMagnitude
}

func shifting(f *findings.Findings) (quantity, error) {
	if f.Map == nil || len(f.Map.Loads) == 0 {
		return quantity{}, fmt.Errorf("the shifting part is unknown: no load was measured; survey a load, or draw another part: %s", drawable(f))
	}
	budget := f.Craft.Limits.HeadingErrorDeg
	w := newWorstCase(f)
	return quantity{
		part: PartShifting, title: "shifting heading error", unit: "degrees",
		legend: "heading error, degrees: worst load, worst heading",
		limit:  budget, limitWords: "budget " + say.Short(budget) + "°", doubt: budget / 2, ratio: medianRatio, most: rightAngle,
		assumed: kernels(f, w.names),
		at:      w.values,
		station: func(s findings.StationFinding) float64 {
			if s.ShiftingError == nil {
				return math.NaN()
			}
			return s.ShiftingError.Estimate
		},
	}, nil
}

func steady(f *findings.Findings) (quantity, error) {
	if f.Map == nil || f.Map.Steady == nil {
		return quantity{}, fmt.Errorf("no vectors of the steady part were measured; survey background and unpowered, or draw another part: %s", drawable(f))
	}
	limit := f.Craft.Limits.SteadyUT
	return quantity{
		part: PartSteady, title: "steady disturbance", unit: "µT",
		legend: "steady disturbance |d|, µT",
		limit:  limit, limitWords: "limit " + say.Short(limit) + " µT", doubt: max(limit/10, 1), ratio: meanRatio,
		assumed: kernels(f, []string{PartSteady}),
		at:      fieldValues(f.Map.Steady),
		station: func(s findings.StationFinding) float64 { return length(s.Steady) },
	}, nil
}

func loadAlone(f *findings.Findings, name string) (quantity, error) {
	if f.Map == nil || f.Map.Loads[name] == nil {
		return quantity{}, fmt.Errorf("no part %q to draw; there is: %s", name, drawable(f))
	}
	budget := f.HUT * math.Sin(f.Craft.Limits.HeadingErrorDeg*math.Pi/180)
	when := "moved end to end"
	for _, l := range f.Craft.Loads {
		if l.Name == name && l.Kind == survey.LoadCurrent {
			when = "at " + say.Short(l.MaxCurrentA) + " A"
		}
	}
	return quantity{
		part: name, title: name + " alone, " + when, unit: "µT",
		legend: name + " " + when + ": |d|, µT",
		limit:  budget, limitWords: "budget " + say.Short(f.Craft.Limits.HeadingErrorDeg) + "° if level", doubt: budget / 2, ratio: meanRatio,
		assumed: kernels(f, []string{name}),
		at:      fieldValues(f.Map.Loads[name]),
		station: func(s findings.StationFinding) float64 {
			e, ok := s.Loads[name]
			if !ok {
				return math.NaN()
			}
			return length(&e)
		},
	}, nil
}

func magnitude(f *findings.Findings) (quantity, error) {
	against := "the reference field"
	any := false
	for _, s := range f.Stations {
		any = any || s.MagnitudeDifference != nil
		if s.Against == findings.AgainstBackground {
			against = "the room's background"
		}
	}
	if !any {
		return quantity{}, fmt.Errorf("no magnitudes were measured: survey the craft unpowered, or draw another part: %s", drawable(f))
	}
	return quantity{
		part: PartMagnitude, title: "magnitude difference", unit: "µT",
		legend: "size of the magnitude difference, µT",
		signed: true,
		limitWords: "Each disc is |B| with the craft less that of " + against +
			"; it says nothing about places in between nor about the direction.",
		station: func(s findings.StationFinding) float64 {
			if s.MagnitudeDifference == nil {
				return math.NaN()
			}
			return *s.MagnitudeDifference
		},
	}, nil
}

// drawable lists the parts that can be drawn.
func drawable(f *findings.Findings) string {
	parts := drawableParts(f)
	if len(parts) == 0 {
		return "nothing yet"
	}
	return say.Listed(parts)
}

func drawableParts(f *findings.Findings) []string {
	var parts []string
	if f.Map != nil {
		if len(f.Map.Loads) > 0 {
			parts = append(parts, PartShifting)
		}
		if f.Map.Steady != nil {
			parts = append(parts, PartSteady)
		}
		for _, l := range f.Craft.Loads {
			if f.Map.Loads[l.Name] != nil {
				parts = append(parts, l.Name)
			}
		}
	}
	for _, s := range f.Stations {
		if s.MagnitudeDifference != nil {
			parts = append(parts, PartMagnitude)
			break
		}
	}
	return parts
}

func kernels(f *findings.Findings, names []string) string {
	var out []string
	for _, n := range names {
		if k := f.Map.Kernels[n]; k != "" && !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return say.Listed(out)
}

func length(e *findings.Estimate) float64 {
	if e == nil {
		return math.NaN()
	}
	return r3.Norm(e.Mean)
}

// predictor is a field that predicts many places faster than one by one.
type predictor interface {
	Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3)
}

func predict(f findings.Field, points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	if p, ok := f.(predictor); ok {
		return p.Predict(points)
	}
	mean, cov := make([]r3.Vec, len(points)), make([]magmath.Mat3, len(points))
	for i, p := range points {
		mean[i], cov[i] = f.At(p)
	}
	return mean, cov
}

// fieldValues is the size of a field's mean and the bound of its magnitude.
// Not the median of the magnitude: far from zero they agree, and near zero that
// would draw the noise as hills between the stations.
func fieldValues(f findings.Field) func([]r3.Vec) (estimate, upper []float64) {
	return func(points []r3.Vec) (estimate, upper []float64) {
		s := heading.NewSampler(1)
		mean, cov := predict(f, points)
		for i := range points {
			q := s.Magnitude(mean[i], cov[i])
			estimate, upper = append(estimate, r3.Norm(mean[i])), append(upper, q.Upper95)
		}
		return estimate, upper
	}
}

// worstCase is the heading error of the worst combination of loads.
type worstCase struct {
	f      *findings.Findings
	names  []string
	combos [][]int
}

func newWorstCase(f *findings.Findings) worstCase {
	w := worstCase{f: f}
	for _, l := range f.Craft.Loads {
		if f.Map.Loads[l.Name] != nil {
			w.names = append(w.names, l.Name)
		}
	}
	for _, c := range f.Map.Combinations {
		var combo []int
		for _, n := range c {
			if i := slices.Index(w.names, n); i >= 0 {
				combo = append(combo, i)
			}
		}
		if len(combo) > 0 {
			w.combos = append(w.combos, combo)
		}
	}
	if len(w.combos) == 0 {
		for i := range w.names {
			w.combos = append(w.combos, []int{i})
		}
	}
	return w
}

// fields are those of the loads, one after another, at the points.
func (w worstCase) fields(points []r3.Vec) (mean [][]r3.Vec, cov [][]magmath.Mat3) {
	for _, n := range w.names {
		m, c := predict(w.f.Map.Loads[n], points)
		mean, cov = append(mean, m), append(cov, c)
	}
	return mean, cov
}

func (w worstCase) values(points []r3.Vec) (estimate, upper []float64) {
	s := heading.NewSampler(len(w.names))
	mean, cov := w.fields(points)
	on := make([]heading.Load, len(w.names))
	for i := range points {
		for l := range on {
			on[l] = heading.Load{Mean: mean[l][i], Cov: cov[l][i]}
		}
		e, _ := s.WorstPosterior(on, w.combos, w.f.HUT, w.f.Craft.Limits.TiltDeg)
		estimate, upper = append(estimate, e.Estimate), append(upper, e.Upper95)
	}
	return estimate, upper
}

// MappedParts are the parts that can be drawn but for the loads one by one, the
// shifting one first.
func MappedParts(f *findings.Findings) []string {
	var parts []string
	for _, part := range []string{PartShifting, PartSteady, PartMagnitude} {
		if _, err := quantityOf(f, part); err == nil {
			parts = append(parts, part)
		}
	}
	return parts
}
