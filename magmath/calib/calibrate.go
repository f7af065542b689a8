package calib

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// The least that is worth fitting: common practice, no source.
const (
	fewestReadings = 60
	shortestS      = 3.0
)

// Calibrate fits offset and matrix to readings taken while the probe was
// turned, in order of time. It never fails: what the readings cannot support
// is in Result.Refusals, and then Accepted is false. samples stay as they are.
//
// Where conditions changed, a stretch that holds most of the readings is
// enough and is used alone; the rest counts as rejected.
func Calibrate(samples []Sample, o Options) Result {
	w := calibrate(samples, o, true)
	if w.main == nil {
		return w.res
	}
	var inside []Sample
	for _, s := range samples {
		if s.TS >= w.main.FromS && s.TS <= w.main.ToS {
			inside = append(inside, s)
		}
	}
	r := calibrate(inside, o, false).res
	r.Rejected += len(samples) - len(inside)
	r.Samples = len(samples)
	r.Changes, r.Steady = w.res.Changes, w.res.Steady
	r.remark(CodeChanged, "conditions changed at about "+secondsWords(r.Changes)+"; only the readings from "+w.main.words()+" were used")
	return r
}

// calibrate is one attempt; watch says whether to look for changes.
func calibrate(samples []Sample, o Options, watch bool) *work {
	data := clean(samples, o.RangeUT)
	w := &work{data: data, res: Result{
		Samples: len(samples), Repeated: data.repeated, Saturated: data.saturated,
		Rejected: data.bad, Matrix: magmath.Identity(), Scale: o.Scale, Prior: o.Prior,
	}}
	if !w.enough() {
		w.finish()
		return w
	}
	if !w.begin(o) {
		w.res.refuse(CodeDistorted, "no ellipsoid fits these readings: turn the probe away from iron, and look at it with listen")
		w.finish()
		return w
	}
	if watch && w.conditions() {
		return w
	}
	w.choose()
	w.fit()
	w.state()
	w.judge()
	w.finish()
	return w
}

// work is one calibration under way. Inside, vectors are scaled so that their
// length is near the reference's: x = raw * k.
type work struct {
	data   readings
	o      Options
	res    Result
	x      []r3.Vec
	k      float64
	flat   float64 // smallest standard deviation along any axis, over the radius
	thin   r3.Vec  // that axis
	radius float64
	base   *fit // nine parameters under a wide prior, nothing forgotten
	basep  problem
	final  *fit
	tells  bool             // the final fit is better than its mirror image
	noise  float64          // variance one reading is worth
	prior  [nShapes]float64 // variances of the shapes, for the choice
	wary   [nShapes]float64 // for the stated uncertainty
	design design
	cov    *mat.SymDense // of offset and shapes, scaled
	main   *Span         // the stretch that is enough on its own
}

// enough refuses what is too short to be fitted at all, and clipped readings.
func (w *work) enough() bool {
	n, span := len(w.data.x), w.data.spanS()
	if w.data.saturated > 0 && w.data.saturated*200 >= w.res.Samples {
		w.res.refuse(CodeSaturated, fmt.Sprintf("%d of %d readings stand at the end of the probe's range: calibrate away from magnets, or set a wider range",
			w.data.saturated, w.res.Samples))
	}
	if n < fewestReadings || span < shortestS {
		w.res.refuse(CodeShort, fmt.Sprintf("%d different readings in %.1f s are too few: turn the probe slowly through all directions for half a minute or more (at least %d readings and %g s)",
			n, span, fewestReadings, shortestS))
	}
	return n >= fewestReadings && span >= shortestS
}

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
	mean := medianVec(w.x)
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

// mostOf is the share of the readings that a steady stretch must hold to be
// taken for the calibration by itself.
const mostOf = 0.85

// conditions looks for a field that came or went. It is true where one stretch
// is enough and shall be used alone.
func (w *work) conditions() bool {
	if !w.base.jumps(w.x, w.basep.prior) {
		return false
	}
	ts := w.data.ts
	cuts := changes(w.x, w.basep, w.base)
	if len(cuts) == 0 {
		return false
	}
	for _, k := range cuts {
		w.res.Changes = append(w.res.Changes, ts[k-1]/2+ts[k]/2)
	}
	w.res.Changes = joined(w.res.Changes)
	from := ts[0]
	for _, at := range append(w.res.Changes, ts[len(ts)-1]) {
		w.res.Steady = append(w.res.Steady, Span{from, at})
		from = at
	}
	if a, b := w.widest(cuts); float64(b-a) >= mostOf*float64(len(ts)) {
		w.main = &Span{ts[a], ts[b-1]}
		return true
	}
	w.res.refuse(CodeChanged, "conditions changed at about "+secondsWords(w.res.Changes)+
		": something magnetic came near or went, or the probe's range changed; take the readings again with everything left in place, or use one stretch only, the longest is "+
		longest(w.res.Steady).words())
	return false
}

// widest is the stretch a..b between two cuts with the most readings, grown on
// both sides as long as the readings fit it.
func (w *work) widest(cuts []int) (a, b int) {
	from := 0
	for _, k := range append(append([]int{}, cuts...), len(w.x)) {
		if k-from > b-a {
			a, b = from, k
		}
		from = k
	}
	p := w.basep
	p.x = w.x[a:b]
	f, ok := p.solve(w.base.o, w.base.e)
	if !ok {
		return a, b
	}
	m := f.matrix()
	fits := func(i int) bool { return math.Abs(see(m, f.o, w.x[i]).residual(f.target)) < 4*f.s }
	for a > 0 && (fits(a-1) || a > 1 && fits(a-2)) {
		a--
	}
	for b < len(w.x) && (fits(b) || b+1 < len(w.x) && fits(b+1)) {
		b++
	}
	return a, b
}

// joined puts changes within two seconds of one another together: something
// was on its way.
func joined(at []float64) []float64 {
	var out []float64
	sum, n := 0.0, 0.0
	for i, t := range at {
		if n > 0 && t-at[i-1] > 2 {
			out = append(out, sum/n)
			sum, n = 0, 0
		}
		sum, n = sum+t, n+1
	}
	if n > 0 {
		out = append(out, sum/n)
	}
	return out
}

func secondsWords(at []float64) string {
	words := ""
	for i, t := range at {
		switch {
		case i > 0 && i == len(at)-1:
			words += " and "
		case i > 0:
			words += ", "
		}
		words += fmt.Sprintf("%.0f s", t)
	}
	return words
}

func longest(spans []Span) Span {
	best := spans[0]
	for _, s := range spans[1:] {
		if s.LengthS() > best.LengthS() {
			best = s
		}
	}
	return best
}

func (s Span) words() string { return fmt.Sprintf("%.0f to %.0f s", s.FromS, s.ToS) }
