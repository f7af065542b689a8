package rank

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/source"
	"quietmount/survey/evaluate"
	"quietmount/survey/sim"
)

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
	var mean [3]float64
	var cov magmath.Mat3
	k, v := mat.NewVecDense(len(f.at), nil), new(mat.VecDense)
	for c := range f.parts {
		q := &f.parts[c]
		for i, a := range f.at {
			k.SetVec(i, squaredExponential(p, a, q.variance, q.length))
		}
		mean[c] = mat.Dot(k, &q.alpha)
		_ = q.chol.SolveVecTo(v, k)
		cov[c][c] = max(1e-9, q.variance-mat.Dot(k, v))
	}
	return r3.Vec{X: mean[0], Y: mean[1], Z: mean[2]}, cov
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
