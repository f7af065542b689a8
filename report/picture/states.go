package picture

import (
	"context"
	"fmt"
	"math"

	"quietmount/magmath/heading"
	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// States draws the heading error of the worst combination of loads, of each load
// alone at its maximum current and of the unpowered craft, as small maps on one
// scale, at most six per page. It ignores o.Part. Without a ranking (nil) it
// marks no spot. It returns an error if no vectors were measured.
func States(ctx context.Context, f *evaluate.Findings, ranking *rank.Ranking, o MapOptions) ([]*draw.Picture, error) {
	height, err := o.height(f.Craft)
	if err != nil {
		return nil, err
	}
	s := &panels{f: f, subject: "heading error by state", narrow: o.Narrow, known: o.Known}
	if ranking != nil {
		s.spots = ranking.Spots
	}
	for _, q := range stateQuantities(f) {
		s.all = append(s.all, panel{q.title, q, height})
	}
	if len(s.all) == 0 {
		return nil, fmt.Errorf("no state has a map: survey background and unpowered, or a load; there is: %s", drawable(f))
	}
	m := &mapping{ground: ground{craft: f.Craft}, f: f, q: s.all[0].q, height: height}
	s.subject += m.heightWords()
	s.head = []string{
		m.runs() + fmt.Sprintf(" Heading error for %s; horizontal reference field %.1f µT. Loads at their maximum currents%s.", say.Attitudes(f.Craft.Limits), f.HUT, m.factor()),
	}
	if f.Map.Steady != nil && len(f.Map.Loads) > 0 {
		s.head = append(s.head, "A compass calibration on the finished craft can remove the error of the unpowered craft, but not that of a load.")
	}
	return s.pictures(ctx)
}

// stateQuantities returns the heading error of each state: the worst combination
// if there are several loads, each load, the unpowered craft.
func stateQuantities(f *evaluate.Findings) []quantity {
	if f.Map == nil {
		return nil
	}
	var out []quantity
	if q, err := shifting(f); err == nil && len(f.Map.Loads) > 1 {
		q.title = "worst combination"
		q.legend = stateLegend
		out = append(out, q)
	}
	for _, l := range f.Craft.Loads {
		if f.Map.Loads[l.Name] != nil {
			out = append(out, loadError(f, l))
		}
	}
	if f.Map.Steady != nil {
		out = append(out, steadyError(f))
	}
	return out
}

const stateLegend = "heading error, degrees: worst heading"

// loadError returns the heading error of one load alone.
func loadError(f *evaluate.Findings, l survey.Load) quantity {
	w := worstCase{evaluate.NewWorst(f.Craft, map[string]bool{l.Name: true})}
	m := f.NewMounted()
	q := quantity{
		part: l.Name, title: l.Name + ", end to end", unit: "degrees", legend: stateLegend,
		limit: f.Craft.Limits.HeadingErrorDeg, limitWords: "budget " + say.Short(f.Craft.Limits.HeadingErrorDeg) + "°",
		doubt: f.Craft.Limits.HeadingErrorDeg / 2, ratio: medianRatio, most: rightAngle,
		at: w.values,
		station: func(s evaluate.StationFinding) float64 {
			e, ok := s.Loads[l.Name]
			if !ok {
				return math.NaN()
			}
			err, _ := m.ErrorOf([]heading.Load{m.At(e, f.FieldOf(l.Name), s.Sensor)}, w.Worst)
			return err.Estimate
		},
	}
	if l.Kind == survey.LoadCurrent {
		q.title = l.Name + ", " + say.Short(l.MaxCurrentA) + " A"
	}
	return q
}

// steadyError returns the heading error of the unpowered craft.
func steadyError(f *evaluate.Findings) quantity {
	return quantity{
		part: PartSteady, title: "unpowered", unit: "degrees", legend: stateLegend,
		doubt: f.Craft.Limits.HeadingErrorDeg / 2, ratio: medianRatio, most: rightAngle,
		at: func(s *sensors) (estimate, upper []float64) {
			for _, on := range s.field(PartSteady) {
				e, _ := s.m.SteadyError(on)
				estimate, upper = append(estimate, e.Estimate), append(upper, e.Upper95)
			}
			return estimate, upper
		},
		station: func(s evaluate.StationFinding) float64 {
			if s.SteadyError == nil {
				return math.NaN()
			}
			return s.SteadyError.Estimate
		},
	}
}

// Heights draws one part at every mounting height of the craft file, as small
// maps on one scale, at most six per page. It marks the first spot of the
// ranking at its height; without a ranking (nil) none. It returns an error if
// the part was not measured or is known at the stations only.
func Heights(ctx context.Context, f *evaluate.Findings, ranking *rank.Ranking, o MapOptions) ([]*draw.Picture, error) {
	q, err := quantityOf(f, o.Part)
	if err != nil {
		return nil, err
	}
	if q.at == nil {
		return nil, fmt.Errorf("the %s is known at the stations only, not at other heights; draw another part: %s", q.title, drawable(f))
	}
	s := &panels{f: f, subject: q.title + " by mounting height", narrow: o.Narrow, known: o.Known}
	if ranking != nil {
		s.spots = ranking.Spots
	}
	for _, h := range heightsOf(f.Craft) {
		s.all = append(s.all, panel{"module at " + say.Short(h) + " mm", q, h})
	}
	m := &mapping{ground: ground{craft: f.Craft}, f: f, q: q}
	s.head = m.head()
	return s.pictures(ctx)
}
