package picture

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report/draw"
	"quietmount/survey/evaluate"
)

// StandardError draws a map beside its own standard error on one scale: where the
// second is as dark as the first, nothing is known. It returns an error if the
// part was not measured or is known at the stations only.
func StandardError(ctx context.Context, f *evaluate.Findings, o MapOptions) (*draw.Picture, error) {
	q, err := quantityOf(f, o.Part)
	if err != nil {
		return nil, err
	}
	if q.at == nil {
		return nil, fmt.Errorf("the %s is not interpolated: it has no map and no standard error; draw another part: %s", q.title, drawable(f))
	}
	height, err := o.height(f.Craft)
	if err != nil {
		return nil, err
	}
	e := spreadOf(f, q)
	m := &mapping{ground: ground{craft: f.Craft}, f: f, q: q, height: height}
	s := &panels{f: f, subject: q.title + m.heightWords() + " and its standard error", head: append(m.head(), e.assumed), narrow: o.Narrow, known: o.Known}
	s.all = []panel{{"estimate", q, height}, {"standard error", e, height}}
	pages, err := s.pictures(ctx)
	if err != nil {
		return nil, err
	}
	return pages[0], nil
}

// spreadOfPart precedes the name of a part whose standard error is shown. No part's
// name begins with a blank.
const spreadOfPart = " standard error of "

// spreadOf returns the standard error of what a map shows, in its unit. It is its
// own bound: no place of it is doubtful.
func spreadOf(f *evaluate.Findings, q quantity) quantity {
	e := quantity{part: spreadOfPart + q.part, title: q.title, unit: q.unit, legend: q.legend, ratio: q.ratio, doubt: q.doubt, most: q.most}
	spread := newWorstCase(f).spread
	e.assumed = "Standard error: that of a level component of the worst combination's field, as the angle by which it turns the horizontal field."
	if q.part != PartShifting {
		spread = func(s *sensors) []float64 { return fieldSpread(s.field(q.part)) }
		e.assumed = "Standard error: root mean square over the three components of the field."
	}
	e.at = func(s *sensors) (estimate, upper []float64) {
		v := spread(s)
		return v, slices.Clone(v)
	}
	return e
}

// fieldSpread returns the standard error of a field, root mean square over its
// components, µT; NaN where the field has no estimate.
func fieldSpread(all []heading.Load) []float64 {
	out := make([]float64, len(all))
	for i, on := range all {
		out[i] = math.Sqrt(max(0, on.Cov.Trace()) / 3)
		if math.IsNaN(r3.Norm(on.Mean)) {
			out[i] = math.NaN()
		}
	}
	return out
}

// spread returns the standard error of a level component of the worst
// combination's field as the angle by which it turns the horizontal field,
// degrees; NaN where the field has no estimate.
func (w worstCase) spread(s *sensors) []float64 {
	out := make([]float64, len(s.at))
	w.loads(s, func(i int, on []heading.Load) {
		sum := evaluate.Sum(on, heading.WorstCombo(on, w.Combos, s.m.TiltDeg))
		level := math.Sqrt(max(0, sum.Cov[0][0]+sum.Cov[1][1]) / 2)
		out[i] = 180 / math.Pi * math.Asin(min(1, level/s.m.HUT))
		for _, l := range on {
			if !magmath.FiniteVec(l.Mean) {
				out[i] = math.NaN()
			}
		}
	})
	return out
}
