package calib

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// begin scales the readings and makes the fit from which all else is judged.
func (w *work) begin(o Options) bool {
	centre, radius := startSphere(w.data.x)
	if !(radius > 0) {
		return false
	}
	w.o = o.normal(radius)
	w.res.Prior = w.o.Prior
	w.k, w.x = 1, slices.Clone(w.data.x)
	w.shape(radius)
	if ratio := radius / w.o.ReferenceUT; ratio < 1/farOff || ratio > farOff {
		if c, ok := w.asStated(centre); ok {
			w.flat, w.radius = w.flat*radius/w.o.ReferenceUT, w.o.ReferenceUT
			centre, radius = c, w.o.ReferenceUT
		} else {
			w.rescale(1 / ratio)
		}
	}
	w.prior = w.o.priorVariances()
	w.wary = w.prior
	w.basep = problem{x: w.x, target: w.o.ReferenceUT, prior: wide(w.o), loss: huber(), rounds: 6}
	ok := w.fitBase(r3.Scale(w.k, centre), radius*w.k)
	if !ok {
		return false
	}
	w.res.Ratio = 1 / (w.k * math.Cbrt(w.base.matrix().Det()))
	if w.o.Scale == FromEither {
		o.Scale = FromReference
		if w.disagrees() {
			o.Scale = FromProbe
		}
		w.o = o.normal(radius)
		w.prior = w.o.priorVariances()
		w.wary = w.prior
	}
	w.res.Scale = w.o.Scale
	if !(o.ReferenceUT > 0) {
		w.res.Ratio = 0
	}
	return true
}

// farOff is the ratio to the reference beyond which the readings are scaled
// before they are fitted.
const farOff = 1.4

// asStated fits a sphere of the reference's strength to a thin band of
// readings, whose own curvature says little about the strength; ok is true
// where it fits.
func (w *work) asStated(centre r3.Vec) (r3.Vec, bool) {
	if w.flat > 0.3 {
		return centre, false
	}
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 6}
	best := math.Inf(1)
	out := centre
	mean := magmath.MedianVec(w.x)
	for _, side := range [3]r3.Vec{centre, r3.Add(mean, r3.Scale(w.o.ReferenceUT/2, w.thin)), r3.Sub(mean, r3.Scale(w.o.ReferenceUT/2, w.thin))} {
		if f, ok := p.solve(side, nil); ok && f.s < best {
			best, out = f.s, f.o
		}
	}
	return out, best < noisy*w.o.ReferenceUT
}

// rescale brings the readings near the reference's strength.
func (w *work) rescale(k float64) {
	w.k = k
	for i, v := range w.data.x {
		w.x[i] = r3.Scale(k, v)
	}
	w.radius *= k
}

// disagrees says that the strength in the probe's own units is off the
// reference by more than gains explain, doubt included. A sphere tells it; what
// the shapes left out may do to it is part of the doubt.
func (w *work) disagrees() bool {
	if w.k != 1 {
		return true
	}
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 6}
	f, ok := p.solve(w.base.o, w.base.e[:1])
	if !ok {
		return false
	}
	noise, leftOut, ok := designOf(w.base, w.x, w.base.s*w.base.s, w.prior).errorsOf(4)
	if !ok {
		return false
	}
	doubt := math.Sqrt((noise.At(3, 3) + leftOut.At(3, 3)) / 3)
	return math.Abs(math.Log(1+f.e[0]/math.Sqrt(3))) > agreement+2*doubt
}

// wide is the prior of the fit that only has to be stable: three times the
// stated one, and any strength within a quarter.
func wide(o Options) []float64 {
	out := make([]float64, nShapes)
	for j, v := range o.priorVariances() {
		out[j] = 3 * math.Sqrt(v)
	}
	out[0] = max(out[0], 0.4)
	return out
}

// shape finds the axis along which the readings spread least.
func (w *work) shape(radius float64) {
	mean := r3.Vec{}
	for _, v := range w.x {
		mean = r3.Add(mean, r3.Scale(1/float64(len(w.x)), v))
	}
	sym := mat.NewSymDense(3, nil)
	for _, v := range w.x {
		d := r3.Sub(v, mean)
		// A wild reading must not make a flat turn look round.
		if l := r3.Norm(d); l > 3*radius {
			continue
		}
		sym.SymRankOne(sym, 1/float64(len(w.x)), mat.NewVecDense(3, []float64{d.X, d.Y, d.Z}))
	}
	var eig mat.EigenSym
	if !eig.Factorize(sym, true) {
		return
	}
	var q mat.Dense
	eig.VectorsTo(&q)
	w.thin = r3.Vec{X: q.At(0, 0), Y: q.At(1, 0), Z: q.At(2, 0)}
	w.flat, w.radius = math.Sqrt(max(eig.Values(nil)[0], 0))/radius, radius
}

// fitBase tries every plausible start and keeps the cheapest fit.
func (w *work) fitBase(centre r3.Vec, radius float64) bool {
	type start struct {
		o r3.Vec
		e []float64
	}
	starts := []start{{centre, weightsOf(magmath.Identity().Scale(w.o.ReferenceUT / radius))}}
	if o, e, ok := startEllipsoid(w.x, centre, radius); ok {
		m := matrixOf(e).Scale(w.o.ReferenceUT / radius)
		if allowed(m) {
			starts = append(starts, start{o, weightsOf(m)})
		}
	}
	if w.flat < flattish {
		starts = append(starts, start{w.mirrored(centre), starts[0].e})
	}
	for i, s := range starts {
		if i == 1 && w.base != nil && w.base.s < 0.02*w.o.ReferenceUT && w.flat >= flattish {
			continue // the sphere was near enough to lead to the same place
		}
		f, ok := w.basep.solve(s.o, s.e)
		if ok && (w.base == nil || math.Log(f.s/w.base.s)*float64(len(w.x))+(f.cost-w.base.cost)/2 < 0) {
			w.base = f
		}
	}
	return w.base != nil
}

// flattish is how thin a band of readings must be for its mirror image to be
// a danger: a full sphere has 0.58, half of one 0.29.
const flattish = 0.25

// mirrored is the offset on the other side of the band of readings.
func (w *work) mirrored(o r3.Vec) r3.Vec {
	var along []float64
	for _, v := range w.x {
		along = append(along, r3.Dot(r3.Sub(v, o), w.thin))
	}
	return r3.Add(o, r3.Scale(2*median(along), w.thin))
}
