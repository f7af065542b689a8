// Package onset finds the moment from which on a probe reads a field by a common
// ratio too large, or turned by a common rotation: a range switched over, a case
// that came loose, a cable plugged in the other way round.
//
// A series of vectors is read at places, most of them more than once. What a place
// itself reads is not known and not asked: only readings of one place are compared
// with one another. [Find] returns the likeliest change of the ratio and of the
// attitude by a generalised likelihood ratio over all windows that begin at a
// reading and end with a run or with the series. Start reading there.
//
// Magnitudes tell the ratio, which no pose of the probe changes. Directions tell
// the turn, to which the scatter of the hand is noise. Drift enters both as an
// offset of each run and a random walk within it. A noise that is larger than
// stated is taken as large as it shows within the hypothesis (a profile
// likelihood), never as smaller.
//
// Vectors are in the craft frame, microtesla; times are seconds on the clock of a
// run. Source of the test: H. L. Van Trees, Detection, Estimation, and Modulation
// Theory I (1968), section 2.5, for the generalised likelihood ratio (from memory);
// Bonferroni's inequality for the number of windows.
package onset

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Reading is one vector of the series.
type Reading struct {
	B     r3.Vec
	Cov   magmath.Mat3 // of B: the sensor and the place, neither pose nor drift
	Place int          // readings of one place have the same number
	Run   int          // drift has an offset for each; the readings of a run stand together
	TS    float64
	Firm  bool // from a place where a slip of the hand does not matter: a single one counts
}

// Options are the scales of the errors.
type Options struct {
	PoseDeg  float64           // scatter of the probe's attitude, each axis; 0: 1.5
	OffsetUT func(int) float64 // of a run's drift, a component; nil: 1
	WalkUT   float64           // of the drift in a minute, a component; 0: 0.1
}

// Change is the likeliest change of one kind.
type Change struct {
	From, To int          // readings From to To-1 are changed against the others
	After    int          // the last reading before From that the place of some changed one has outside; -1: none
	P        float64      // probability of such a change anywhere by chance, for all windows together; 1: nothing to compare
	Ratio    float64      // of the changed readings to the others
	Turn     magmath.Mat3 // rotation from the others to the changed readings
	TurnDeg  float64
}

// Result holds the likeliest change of the ratio and of the attitude. Compared
// tells of each reading whether it took part.
type Result struct {
	Ratio, Turn Change
	Compared    []bool
}

// most bounds the readings that are compared: the work grows with their cube.
const most = 900

// Find looks for a change in a series in the order of time. Readings of a place
// that was read once take no part, nor do those of length zero; of very many the first
// 900 do. Readings must be finite. Once ctx has ended the result is unfinished.
func Find(ctx context.Context, readings []Reading, o Options) Result {
	if !(o.PoseDeg > 0) {
		o.PoseDeg = 1.5
	}
	if !(o.WalkUT > 0) {
		o.WalkUT = 0.1
	}
	if o.OffsetUT == nil {
		o.OffsetUT = func(int) float64 { return 1 }
	}
	none := Change{After: -1, P: 1, Ratio: 1, Turn: magmath.Identity()}
	out := Result{Ratio: none, Turn: none, Compared: make([]bool, len(readings))}
	used := compared(readings)
	for _, i := range used {
		out.Compared[i] = true
	}
	if len(used) < 2 {
		return out
	}
	s := newSeries(readings, used, o)
	s.ctx = ctx
	out.Ratio, out.Turn = s.ratio(none), s.turn(none)
	return out
}

// compared returns the indices of the readings of places that were read more than
// once, in their order.
func compared(readings []Reading) []int {
	count := map[int]int{}
	for _, r := range readings {
		count[r.Place]++
	}
	var out []int
	for i, r := range readings {
		if count[r.Place] > 1 && r3.Norm(r.B) > 0 && len(out) < most {
			out = append(out, i)
		}
	}
	return out
}

// series is what is compared.
type series struct {
	ctx      context.Context // of the one search that it belongs to
	o        Options
	readings []Reading
	from     []int // of each, its index in what was given
	length   []float64
	unit     []r3.Vec
	places   int
	start    map[int]float64 // of each run, the time of its first reading
}

func newSeries(all []Reading, used []int, o Options) *series {
	s := &series{o: o, from: used, start: map[int]float64{}}
	number := map[int]int{}
	for _, i := range used {
		r := all[i]
		k, ok := number[r.Place]
		if !ok {
			k = len(number)
			number[r.Place] = k
		}
		r.Place = k
		if t, ok := s.start[r.Run]; !ok || r.TS < t {
			s.start[r.Run] = r.TS
		}
		s.readings = append(s.readings, r)
		s.length = append(s.length, r3.Norm(r.B))
		s.unit = append(s.unit, r3.Unit(r.B))
	}
	s.places = len(number)
	return s
}

// drift returns the covariance of one component of the drift at two readings.
func (s *series) drift(i, j int) float64 {
	a, b := s.readings[i], s.readings[j]
	if a.Run != b.Run {
		return 0
	}
	offset := s.o.OffsetUT(a.Run)
	return offset*offset + s.o.WalkUT*s.o.WalkUT*max(0, min(a.TS, b.TS)-s.start[a.Run])/60
}

// projector returns the inverse covariance of the readings with the unknown value
// of each place projected out: P = W - W G (G'W G)^-1 G'W, W the inverse of the
// covariance and G the place of each reading. It is nil if the covariance is not
// positive definite, or ctx has ended.
func (s *series) projector(cov func(i, j int) float64) *mat.SymDense {
	if s.ctx.Err() != nil {
		return nil
	}
	n := len(s.readings)
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v.SetSym(i, j, cov(i, j))
		}
	}
	var chol mat.Cholesky
	var w mat.SymDense
	if !chol.Factorize(v) || chol.InverseTo(&w) != nil {
		return nil
	}
	wg, gwg := mat.NewDense(n, s.places, nil), mat.NewSymDense(s.places, nil)
	for i := range n {
		for j, r := range s.readings {
			wg.Set(i, r.Place, wg.At(i, r.Place)+w.At(i, j))
		}
	}
	for i, r := range s.readings {
		for q := r.Place; q < s.places; q++ {
			gwg.SetSym(r.Place, q, gwg.At(r.Place, q)+wg.At(i, q))
		}
	}
	var inner mat.Cholesky
	var half mat.Dense
	if !inner.Factorize(gwg) || inner.SolveTo(&half, wg.T()) != nil {
		return nil
	}
	var back mat.Dense
	back.Mul(wg, &half)
	for i := range n {
		for j := i; j < n; j++ {
			w.SetSym(i, j, w.At(i, j)-(back.At(i, j)+back.At(j, i))/2)
		}
	}
	return &w
}

// weighed returns the projector for readings y of so many free components, with
// doubtful ones given less weight; nil if there is none.
func (s *series) weighed(y []r3.Vec, components float64, shared func(i, j int) float64, own func(i int) float64) *mat.SymDense {
	more := make([]float64, len(y))
	for i := range more {
		more[i] = 1
	}
	cov := func(i, j int) float64 {
		if i == j {
			return shared(i, i) + own(i)*more[i]
		}
		return shared(i, j)
	}
	proj := s.projector(cov)
	if proj == nil {
		return nil
	}
	more = s.doubt(proj, y, components)
	return s.projector(cov)
}

// doubtSD is how many standard deviations a reading may be from the others of its
// place before it is given less weight: hands slip, and fields beside a magnet
// change more than a gradient says.
const doubtSD = 2.5

// doubt returns the factor by which the variance of each reading grows, from the
// readings y, vectors or numbers in X: the square of how far one is from what all
// others say of it, over doubtSD. Firm readings keep their weight.
func (s *series) doubt(proj *mat.SymDense, y []r3.Vec, components float64) []float64 {
	out := make([]float64, len(y))
	for i := range y {
		var r r3.Vec
		for j := range y {
			r = r3.Add(r, r3.Scale(proj.At(i, j), y[j]))
		}
		out[i] = 1
		if own := proj.At(i, i); own > 1e-9 && !s.readings[i].Firm {
			z := math.Sqrt(r3.Norm2(r) / own / components)
			out[i] = max(1, z*z/(doubtSD*doubtSD))
		}
	}
	return out
}

// windows yields every window that ends with a run or with the series, shortest
// first, from its end backwards: begin is called for a new end, and each for every
// reading that comes in front.
func (s *series) windows(begin func(end int), each func(c, end int)) {
	n := len(s.readings)
	for end := n; end > 0 && s.ctx.Err() == nil; end-- {
		last := end == n
		if !last && s.readings[end].Run == s.readings[end-1].Run {
			continue
		}
		begin(end)
		for c := end - 1; c >= 0 && s.ctx.Err() == nil && (last || s.readings[c].Run == s.readings[end-1].Run); c-- {
			each(c, end)
		}
	}
}

// enough reports whether a window can be told from a few slips: a firm place was
// read on both sides, or three readings of other places on either side were.
func (s *series) enough(c, end int) bool {
	in, out := make([]int, s.places), make([]int, s.places)
	for i, r := range s.readings {
		if i >= c && i < end {
			in[r.Place]++
		} else {
			out[r.Place]++
		}
	}
	inside, outside := 0, 0
	for i, r := range s.readings {
		both := in[r.Place] > 0 && out[r.Place] > 0
		if both && r.Firm {
			return true
		}
		if both && i >= c && i < end {
			inside++
		} else if both {
			outside++
		}
	}
	return inside >= 3 && outside >= 3
}

// surplus stands for readings that keep a noise from few of them near the stated
// one.
const surplus = 5

// best keeps the window of the largest variance ratio and counts all.
type best struct {
	dof, total, freedom float64 // of the change; of the readings, without and with any change
	f                   float64 // likelihood ratio a degree of freedom, over the noise
	c, end              int
	windows             int
}

// see takes the likelihood ratio of a window and reports whether it is the best so
// far. The noise is as large as what the change leaves says, at least as stated.
func (b *best) see(ratio float64, c, end int) bool {
	b.windows++
	f := ratio / b.dof / max(1, (b.total-ratio+surplus)/(b.freedom+surplus))
	if b.windows > 1 && f <= b.f {
		return false
	}
	b.f, b.c, b.end = f, c, end
	return true
}

// p returns the probability of so large a ratio in any window by chance.
func (b *best) p() float64 {
	one := distuv.F{D1: b.dof, D2: b.freedom + surplus}.Survival(max(0, b.f))
	return min(1, one*float64(b.windows))
}

// change fills in what the window says of the readings as given.
func (s *series) change(none Change, b best) Change {
	if b.windows == 0 {
		return none
	}
	out := none
	out.P = b.p()
	out.From, out.To = s.from[b.c], s.from[b.end-1]+1
	if b.c > 0 {
		out.After = s.from[b.c-1]
	}
	return out
}

// ratio returns the likeliest change of the magnitudes. With q their logarithms, P
// the projector and e the readings of a window, the estimate of the change is
// e'Pq/e'Pe and the likelihood ratio (e'Pq)^2/e'Pe.
func (s *series) ratio(none Change) Change {
	n := len(s.readings)
	q, pq, logs := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil), make([]r3.Vec, n)
	for i, l := range s.length {
		logs[i].X = math.Log(l)
		q.SetVec(i, logs[i].X)
	}
	proj := s.weighed(logs, 1, func(i, j int) float64 {
		return r3.Dot(s.unit[i], s.unit[j]) * s.drift(i, j) / (s.length[i] * s.length[j])
	}, func(i int) float64 {
		return r3.Dot(s.unit[i], s.readings[i].Cov.Apply(s.unit[i]))/(s.length[i]*s.length[i]) + leastPart*leastPart
	})
	if proj == nil {
		return none
	}
	pq.MulVec(proj, q)
	total, freedom := mat.Dot(q, pq), float64(n-s.places-1)
	var u, info float64
	found, estimate := best{dof: 1, total: total, freedom: freedom}, 0.0
	s.windows(func(int) { u, info = 0, 0 }, func(c, end int) {
		for k := c + 1; k < end; k++ {
			info += 2 * proj.At(c, k)
		}
		u, info = u+pq.AtVec(c), info+proj.At(c, c)
		if !(info > 1e-6*proj.At(c, c)) || !s.enough(c, end) {
			return
		}
		if found.see(u*u/info, c, end) {
			estimate = u / info
		}
	})
	out := s.change(none, found)
	out.Ratio = math.Exp(estimate)
	return out
}

// leastPart is the part of a magnitude to which no sensor repeats itself better.
const leastPart = 0.001

// turn returns the likeliest change of the directions. With u the directions, whose
// noise is taken as the same about all axes, the sum of squares with the readings of
// a window turned back by R is that without plus 2 tr(R M) - 2 tr(M), M the sum of
// P_ij u_j u_i' over j within and i outside. The best R is that of Wahba's problem.
// Source: F. L. Markley, Attitude determination using vector observations and the
// singular value decomposition, J. Astronautical Sciences 36 (1988) 245 (from memory).
func (s *series) turn(none Change) Change {
	n := len(s.readings)
	pose := s.o.PoseDeg * math.Pi / 180
	proj := s.weighed(s.unit, 2, func(i, j int) float64 {
		return s.drift(i, j) / (s.length[i] * s.length[j])
	}, func(i int) float64 {
		return s.readings[i].Cov.Trace()/3/(s.length[i]*s.length[i]) + pose*pose
	})
	if proj == nil {
		return none
	}
	pu := make([]r3.Vec, n)
	total, freedom := 0.0, float64(2*(n-s.places)-3)
	for i := range n {
		for j := range n {
			pu[i] = r3.Add(pu[i], r3.Scale(proj.At(i, j), s.unit[j]))
		}
		total += r3.Dot(s.unit[i], pu[i])
	}
	freedom = max(freedom, 0)
	var all, within magmath.Mat3
	found, rotation := best{dof: 3, total: total, freedom: freedom}, magmath.Identity()
	s.windows(func(int) { all, within = magmath.Mat3{}, magmath.Mat3{} }, func(c, end int) {
		var inside r3.Vec
		for k := c + 1; k < end; k++ {
			inside = r3.Add(inside, r3.Scale(proj.At(c, k), s.unit[k]))
		}
		own := s.unit[c]
		within = within.Add(magmath.Outer(own, inside)).Add(magmath.Outer(inside, own)).Add(magmath.Outer(own, own).Scale(proj.At(c, c)))
		all = all.Add(magmath.Outer(own, pu[c]))
		if !s.enough(c, end) {
			return
		}
		m := all.Add(within.Scale(-1))
		r, gain := wahba(m.Scale(-1))
		if found.see(2*(m.Trace()+gain), c, end) {
			rotation = r.Transpose()
		}
	})
	out := s.change(none, found)
	out.Turn = rotation
	out.TurnDeg = math.Acos(max(-1, min(1, (rotation.Trace()-1)/2))) * 180 / math.Pi
	return out
}

// wahba returns the rotation R that makes tr(R k) largest, and that trace. Of the
// rotations about a single direction, which nothing tells apart, it returns the
// smallest one nearly.
func wahba(k magmath.Mat3) (magmath.Mat3, float64) {
	size := 0.0
	for _, row := range k {
		for _, v := range row {
			size += math.Abs(v)
		}
	}
	lean := k.Add(magmath.Identity().Scale(1e-3 * size))
	flat := slices.Concat(lean[0][:], lean[1][:], lean[2][:])
	var svd mat.SVD
	if !svd.Factorize(mat.NewDense(3, 3, flat), mat.SVDFull) {
		return magmath.Identity(), k.Trace()
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	sign := 1.0
	if mat.Det(&u)*mat.Det(&v) < 0 {
		sign = -1
	}
	var r magmath.Mat3
	for a := range 3 {
		for b := range 3 {
			r[a][b] = v.At(a, 0)*u.At(b, 0) + v.At(a, 1)*u.At(b, 1) + sign*v.At(a, 2)*u.At(b, 2)
		}
	}
	return r, r.Mul(k).Trace()
}
