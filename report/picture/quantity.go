package picture

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/evaluate"
)

// The parts that a map can show besides a load of the craft file, by its name.
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
	most        float64 // larger values are drawn as this one; 0: no cap

	// at returns estimate and 95 % bound at places of the sensor; nil: known at
	// stations only.
	at      func(*sensors) (estimate, upper []float64)
	station func(evaluate.StationFinding) float64 // NaN: not measured
}

// rightAngle caps a drawn heading error, degrees. A disturbance that can turn the
// compass further has a stated error of 180 degrees; drawn uncapped, that jump
// would look like a steep edge of the field.
const rightAngle = 90

// ramp returns the colours for sorted values, with their legend.
func (q quantity) ramp(sorted []float64, limit float64) draw.Ramp {
	r := draw.NewRamp(sorted, limit)
	r.Units = q.unit
	return r
}

// capped returns v as it is drawn.
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

// quantityOf returns what a map of a part shows. An empty part stands for
// shifting if that was measured, else steady, else magnitude. The error lists
// the parts that can be drawn.
func quantityOf(f *evaluate.Findings, part string) (quantity, error) {
	if part == "" {
		part = PartMagnitude
		if all := drawableParts(f); len(all) > 0 {
			part = all[0]
		}
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

func shifting(f *evaluate.Findings) (quantity, error) {
	if f.Map == nil || len(f.Map.Loads) == 0 {
		return quantity{}, fmt.Errorf("the shifting part is unknown: no load was measured; survey a load, or draw another part: %s", drawable(f))
	}
	budget := f.Craft.Limits.HeadingErrorDeg
	w := newWorstCase(f)
	return quantity{
		part: PartShifting, title: "shifting heading error", unit: "degrees",
		legend: "heading error, degrees: worst load, worst heading",
		limit:  budget, limitWords: "budget " + say.Short(budget) + "°", doubt: budget / 2, ratio: medianRatio, most: rightAngle,
		assumed: kernels(f, w.Names),
		at:      w.values,
		station: func(s evaluate.StationFinding) float64 {
			if s.ShiftingError == nil {
				return math.NaN()
			}
			return s.ShiftingError.Estimate
		},
	}, nil
}

func steady(f *evaluate.Findings) (quantity, error) {
	if f.Map == nil || f.Map.Steady == nil {
		return quantity{}, fmt.Errorf("no vectors of the steady part were measured; survey background and unpowered, or draw another part: %s", drawable(f))
	}
	limit := f.Craft.Limits.SteadyUT
	return quantity{
		part: PartSteady, title: "steady disturbance", unit: "µT",
		legend: "steady disturbance |d|, µT",
		limit:  limit, limitWords: "limit " + say.Short(limit) + " µT", doubt: max(limit/10, 1), ratio: meanRatio,
		assumed: kernels(f, []string{PartSteady}),
		at:      fieldValues(PartSteady),
		station: func(s evaluate.StationFinding) float64 { return length(s.Steady) },
	}, nil
}

func loadAlone(f *evaluate.Findings, name string) (quantity, error) {
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
		at:      fieldValues(name),
		station: func(s evaluate.StationFinding) float64 {
			e, ok := s.Loads[name]
			if !ok {
				return math.NaN()
			}
			return length(&e)
		},
	}, nil
}

func magnitude(f *evaluate.Findings) (quantity, error) {
	if !slices.Contains(drawableParts(f), PartMagnitude) {
		return quantity{}, fmt.Errorf("no magnitudes were measured: survey the craft unpowered, or draw another part: %s", drawable(f))
	}
	against := "the reference field"
	if slices.ContainsFunc(f.Stations, func(s evaluate.StationFinding) bool { return s.Against == evaluate.AgainstBackground }) {
		against = "the room's background"
	}
	return quantity{
		part: PartMagnitude, title: "magnitude difference", unit: "µT",
		legend: "size of the magnitude difference, µT",
		limitWords: "Each disc is |B| with the craft minus that of " + against +
			"; it says nothing about places in between nor about the direction.",
		station: func(s evaluate.StationFinding) float64 {
			if s.MagnitudeDifference == nil {
				return math.NaN()
			}
			return *s.MagnitudeDifference
		},
	}, nil
}

// drawable lists the parts that can be drawn, in words.
func drawable(f *evaluate.Findings) string {
	if parts := drawableParts(f); len(parts) > 0 {
		return say.Listed(parts)
	}
	return "nothing yet"
}

// drawableParts returns the parts that were measured: shifting, steady, the loads
// by name, magnitude.
func drawableParts(f *evaluate.Findings) []string {
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
	if slices.ContainsFunc(f.Stations, func(s evaluate.StationFinding) bool { return s.MagnitudeDifference != nil }) {
		parts = append(parts, PartMagnitude)
	}
	return parts
}

// MappedParts returns the parts that can be drawn except the single loads, the
// shifting one first.
func MappedParts(f *evaluate.Findings) []string {
	return slices.DeleteFunc(drawableParts(f), func(part string) bool {
		return part != PartShifting && part != PartSteady && part != PartMagnitude
	})
}

// MapPart is a part that Map can draw.
type MapPart struct {
	Name  string `json:"part"`
	Title string `json:"title"`
	Unit  string `json:"unit"` // degrees or µT: of the colours
}

// MapParts returns the parts that Map can draw, its default first; none where
// nothing was measured.
func MapParts(f *evaluate.Findings) []MapPart {
	var out []MapPart
	for _, name := range drawableParts(f) {
		if q, err := quantityOf(f, name); err == nil {
			out = append(out, MapPart{q.part, q.title, q.unit})
		}
	}
	return out
}

// kernels lists how the fields of some parts were interpolated, each way once.
func kernels(f *evaluate.Findings, names []string) string {
	var out []string
	for _, n := range names {
		if k := f.Map.Kernels[n]; k != "" && !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return say.Listed(out)
}

// length returns the size of an estimated mean; NaN for none.
func length(e *evaluate.Estimate) float64 {
	if e == nil {
		return math.NaN()
	}
	return r3.Norm(e.Mean)
}

// fieldValues returns the size of the mean of a part's field and the 95 % bound of its
// magnitude. The median of the magnitude would agree far from zero, but near
// zero it would draw the noise as hills between the stations.
func fieldValues(part string) func(*sensors) (estimate, upper []float64) {
	return func(s *sensors) (estimate, upper []float64) {
		for _, on := range s.field(part) {
			_, q := s.m.SteadyError(on)
			estimate, upper = append(estimate, r3.Norm(on.Mean)), append(upper, q.Upper95)
		}
		return estimate, upper
	}
}

// worstCase is the heading error of the worst combination of some loads, as mounted.
type worstCase struct{ evaluate.Worst }

func newWorstCase(f *evaluate.Findings) worstCase {
	return worstCase{evaluate.NewWorst(f.Craft, f.Map.Loads)}
}

// loads calls do for every place with what each load does there; do must not keep
// the slice.
func (w worstCase) loads(s *sensors, do func(i int, on []heading.Load)) {
	on := make([]heading.Load, len(w.Names))
	for i := range s.at {
		for l, name := range w.Names {
			on[l] = s.field(name)[i]
		}
		do(i, on)
	}
}

// each calls do for every place with the heading error of the worst combination
// there, and with mean and covariance of that combination's field.
func (w worstCase) each(s *sensors, do func(i int, e heading.Error, sum evaluate.Estimate)) {
	w.loads(s, func(i int, on []heading.Load) {
		e, combo := s.m.ErrorOf(on, w.Worst)
		do(i, e, evaluate.Sum(on, combo))
	})
}

// values returns the worst combination's heading error and its 95 % bound,
// degrees.
func (w worstCase) values(s *sensors) (estimate, upper []float64) {
	w.each(s, func(_ int, e heading.Error, _ evaluate.Estimate) {
		estimate, upper = append(estimate, e.Estimate), append(upper, e.Upper95)
	})
	return estimate, upper
}
