package picture

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report/draw"
	"quietmount/survey/findings"
)

// StandardError draws a map beside its own standard error, both with the
// stations and on one scale: where the second is as dark as the first, nothing
// is known. It fails where the part was not measured, or has no map.
func StandardError(f *findings.Findings, o MapOptions) (*draw.Picture, error) {
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
	m := &mapping{f: f, c: f.Craft, q: q, height: height}
	s := &panels{f: f, subject: q.title + m.heightWords() + " and its standard error", head: append(m.head(), e.assumed), narrow: o.Narrow}
	s.all = []panel{{"estimate", q, height}, {"standard error", e, height}}
	return s.pictures()[0], nil
}

// spreadOf is the standard error of what a map shows, in its unit.
func spreadOf(f *findings.Findings, q quantity) quantity {
	e := quantity{part: q.part, title: q.title, unit: q.unit, legend: q.legend, ratio: q.ratio, doubt: q.doubt, most: q.most}
	field := func() (findings.Field, bool) {
		if q.part == PartSteady {
			return f.Map.Steady, true
		}
		load, ok := f.Map.Loads[q.part]
		return load, ok
	}
	spread := func(points []r3.Vec) []float64 { return newWorstCase(f).spread(points) }
	e.assumed = "Standard error: that of a level component of the worst combination's field, as the angle by which it turns the horizontal field."
	if one, ok := field(); ok {
		spread = func(points []r3.Vec) []float64 {
			mean, cov := predict(one, points)
			out := make([]float64, len(cov))
			for i, c := range cov {
				out[i] = math.Sqrt(max(0, c.Trace()) / 3)
				if math.IsNaN(r3.Norm(mean[i])) {
					out[i] = math.NaN() // what has no estimate has no error either
				}
			}
			return out
		}
		e.assumed = "Standard error: root mean square over the three components of the field."
	}
	e.at = func(points []r3.Vec) (estimate, upper []float64) {
		v := spread(points)
		return v, append([]float64(nil), v...)
	}
	return e
}

// spread is the standard error of a level component of the worst combination's
// field, as the angle in degrees by which it turns the horizontal field.
func (w worstCase) spread(points []r3.Vec) []float64 {
	s := heading.NewSampler(len(w.names))
	mean, cov := w.fields(points)
	on := make([]heading.Load, len(w.names))
	out := make([]float64, len(points))
	for i := range points {
		for l := range on {
			on[l] = heading.Load{Mean: mean[l][i], Cov: cov[l][i]}
		}
		e, combo := s.WorstPosterior(on, w.combos, w.f.HUT, w.f.Craft.Limits.TiltDeg)
		if math.IsNaN(e.Estimate) {
			out[i] = math.NaN()
			continue
		}
		var sum magmath.Mat3
		for _, l := range combo {
			sum = sum.Add(on[l].Cov)
		}
		level := math.Sqrt(max(0, sum[0][0]+sum[1][1]) / 2)
		out[i] = 180 / math.Pi * math.Asin(min(1, level/w.f.HUT))
	}
	return out
}
