package rank

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/siting"
	"quietmount/magmath/source"
	"quietmount/survey/evaluate"
	"quietmount/survey/sim"
)

// level returns the first spot of a ranking by the upper bound on a level craft at the
// exact place, among the candidates of the grid: the rule that errors as mounted
// replaced. The maps are the same.
func (e *examined) level() *picked {
	s := newScorer(context.Background(), e.f)
	s.m = s.m.As(s.m.Level())
	return e.pick(s, func(x score) float64 { return x.Shifting.Upper95 }, false)
}

// rival returns the first spot of a ranking by other maps of the loads, as mounted.
func (e *examined) rival(loads map[string]evaluate.Field) *picked {
	f := *e.f
	f.Map = &evaluate.Map{Steady: e.f.Map.Steady, Loads: loads, Combinations: e.f.Map.Combinations}
	return e.pick(newScorer(context.Background(), &f), func(x score) float64 { return x.cost }, true)
}

// pick ranks the candidates by another scorer or another cost, moves the best to steps
// of 2 mm if refined, and compares the first with the truth; nil if nothing is under
// the steady limit.
func (e *examined) pick(s *scorer, cost func(score) float64, refined bool) *picked {
	q := *e.r
	q.s, q.cands = s, slices.Clone(e.nodes)
	q.scores, q.cost = make([]score, len(q.cands)), make([]float64, len(q.cands))
	allowed := slices.DeleteFunc(slices.Clone(q.free), func(i int) bool { return !q.verdicts[i].steadyOK })
	if len(allowed) == 0 || !s.byShifting() {
		return nil
	}
	foot := q.f.Craft.Module.FootprintMM
	apart := max(foot.X, foot.Y, q.spacing)
	some := q.promising(allowed, apart)
	for i := range q.cost {
		q.cost[i] = math.NaN()
	}
	q.scoreFit(some)
	for _, i := range some {
		q.cost[i] = cost(q.scores[i])
	}
	first := siting.Optima(q.grid, q.cands, allowed, q.cost, apart, fillSpots, q.o.Most)
	if refined {
		q.refine(first)
	}
	return e.compare(q.cands[first[0]].Place, q.scores[first[0]].Shifting.Upper95)
}

// plainField is the yardstick: an independent Gaussian process for each
// component with a squared-exponential covariance, one noise for all stations,
// scale and length by the best of a coarse grid of marginal likelihoods.
type plainField struct {
	at    []r3.Vec
	parts [3]plainPart
}

type plainPart struct {
	variance, length float64
	chol             mat.Cholesky
	alpha            mat.VecDense
}

func squaredExponential(p, q r3.Vec, variance, length float64) float64 {
	return variance * math.Exp(-r3.Norm2(r3.Sub(p, q))/(2*length*length))
}

func newPlainField(at, b []r3.Vec, noise float64) *plainField {
	f := &plainField{at: at}
	for k := range 3 {
		y := mat.NewVecDense(len(b), nil)
		sum := 0.0
		for i, v := range b {
			y.SetVec(i, []float64{v.X, v.Y, v.Z}[k])
			sum += y.AtVec(i) * y.AtVec(i)
		}
		best := math.Inf(-1)
		for _, length := range []float64{25, 35, 50, 70, 100, 140, 200, 300} {
			for _, scale := range []float64{0.3, 1, 3, 10} {
				variance := scale * sum / float64(len(b))
				c := mat.NewSymDense(len(at), nil)
				for i, p := range at {
					for j := i; j < len(at); j++ {
						c.SetSym(i, j, squaredExponential(p, at[j], variance, length))
					}
					c.SetSym(i, i, c.At(i, i)+noise+1e-8)
				}
				part := plainPart{variance: variance, length: length}
				if !part.chol.Factorize(c) || part.chol.SolveVecTo(&part.alpha, y) != nil {
					continue
				}
				if l := -0.5 * (mat.Dot(y, &part.alpha) + part.chol.LogDet()); l > best {
					best, f.parts[k] = l, part
				}
			}
		}
	}
	return f
}

// At implements Field.
func (f *plainField) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	var cov magmath.Mat3
	k, v := mat.NewVecDense(len(f.at), nil), new(mat.VecDense)
	for c := range f.parts {
		q := &f.parts[c]
		f.covariances(k, q, p)
		_ = q.chol.SolveVecTo(v, k)
		cov[c][c] = max(1e-9, q.variance-mat.Dot(k, v))
	}
	return f.Means([]r3.Vec{p})[0], cov
}

// Means returns the means alone.
func (f *plainField) Means(points []r3.Vec) []r3.Vec {
	out, k := make([]r3.Vec, len(points)), mat.NewVecDense(len(f.at), nil)
	for i, p := range points {
		var mean [3]float64
		for c := range f.parts {
			f.covariances(k, &f.parts[c], p)
			mean[c] = mat.Dot(k, &f.parts[c].alpha)
		}
		out[i] = r3.Vec{X: mean[0], Y: mean[1], Z: mean[2]}
	}
	return out
}

// covariances fills k with those of a component at p with the stations.
func (f *plainField) covariances(k *mat.VecDense, q *plainPart, p r3.Vec) {
	for i, a := range f.at {
		k.SetVec(i, squaredExponential(p, a, q.variance, q.length))
	}
}

// plainFields are the yardstick's maps of the loads, from the same station
// values as ours (a favour: a plain tool would have worse ones).
func plainFields(f *evaluate.Findings) map[string]evaluate.Field {
	out := map[string]evaluate.Field{}
	for name := range f.Map.Loads {
		var at, b []r3.Vec
		noise := 0.0
		for _, s := range f.Stations {
			if l, ok := s.Loads[name]; ok {
				at, b = append(at, s.Sensor), append(b, l.Mean)
				noise += l.Cov.Trace() / 3
			}
		}
		out[name] = newPlainField(at, b, noise/float64(len(at)))
	}
	return out
}

// toldFields are the maps of a fit that is told number and places of all
// sources: of each lead only how far apart and which way its two conductors
// lie is left to find.
func toldFields(ctx context.Context, w *sim.World, f *evaluate.Findings) map[string]evaluate.Field {
	out := map[string]evaluate.Field{}
	for _, l := range f.Craft.Loads {
		d := magmath.Readings{}
		var noise []magmath.Mat3
		for _, s := range f.Stations {
			if e, ok := s.Loads[l.Name]; ok {
				d.At, d.B, noise = append(d.At, s.Sensor), append(d.B, e.Mean), append(noise, e.Cov)
			}
		}
		if len(d.At) == 0 {
			continue
		}
		d.Noise = magmath.BlockNoise(noise)
		var told []fieldmap.Source
		for _, c := range w.Wires {
			if c.Load == l.Name {
				told = append(told, toldLead(c.Circuit, l.MaxCurrentA))
			}
		}
		m, err := fieldmap.Condition(ctx, d, fieldmap.Smooth{LogSD: math.Log(1e-3), LogLength: math.Log(100)}, told...)
		if err == nil {
			out[l.Name] = evaluate.Scaled{Map: m, SD: evaluate.TypedCurrentSD}
		}
	}
	return out
}

// toldLead is a pair along the middle line of a true circuit, with its gap
// along two directions across free.
func toldLead(c source.Lead, currentA float64) fieldmap.Source {
	n := (len(c.PathMM) - 1) / 2
	var middle []r3.Vec
	for i := range n {
		middle = append(middle, r3.Scale(0.5, r3.Add(c.PathMM[i], c.PathMM[2*n-1-i])))
	}
	across := r3.Unit(r3.Sub(c.PathMM[0], c.PathMM[2*n-1]))
	along := r3.Sub(middle[len(middle)-1], middle[0])
	gap := r3.Norm(r3.Sub(c.PathMM[0], c.PathMM[2*n-1]))
	var circuits []source.Lead
	for _, a := range []r3.Vec{across, r3.Cross(along, across)} {
		circuits = append(circuits, source.Pair{PathMM: middle, GapMM: gap, CurrentA: currentA, Across: a}.Circuit())
	}
	return fieldmap.Source{Name: "told", LogSD: 0, Fields: func(q r3.Vec) []r3.Vec {
		return []r3.Vec{circuits[0].Field(q), circuits[1].Field(q)}
	}}
}
