package arrow

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Pose is one capture of an arrow check.
type Pose struct {
	Name    PoseName
	Want    r3.Vec  // the field in the craft frame in this pose, microtesla
	Got     r3.Vec  // the field as read, sensor axes, microtesla
	NoiseUT float64 // standard uncertainty of Got, a component
}

// turn is a fit of Got = scale * q * Want + offset.
type turn struct {
	q      magmath.Mat3 // craft frame to sensor axes; determinant 1, or -1 for the mirrored fit
	scale  float64
	offset r3.Vec
	chi2   float64
	other  float64 // chi2 of the best fit of the other hand
	cov    magmath.Mat3
	dof    int
	dipDeg float64 // the dip of the place less that of the reference
}

// solver fits turns to poses.
type solver struct {
	free    bool    // the offset is free: the probe is not calibrated
	poseDeg float64 // standard uncertainty of how the craft is held
}

// sigma returns the standard uncertainty of a component of Got: a small turn by an
// angle s about any axis moves a vector b by s|b| across.
func (s solver) sigma(p Pose) float64 {
	return math.Hypot(p.NoiseUT, s.poseDeg*math.Pi/180*max(r3.Norm(p.Want), 1))
}

// parameters returns how many are fitted: three of the turn, the scale, and the
// offset where it is free.
func (s solver) parameters() int {
	if s.free {
		return 7
	}
	return 4
}

// fit returns the turn of least squares, weighted by the poses' uncertainties,
// rotation or mirrored, whichever fits better. ok is false where the poses do
// not fix a turn.
//
// Source: Wahba's problem by singular value decomposition, Markley (1988),
// Attitude determination using vector observations and the singular value
// decomposition, J. Astronautical Sciences 36(3); with scale and offset:
// Umeyama (1991), IEEE PAMI 13(4), 376. The covariance is the inverse of the
// normal matrix; with neither scale nor offset it is the QUEST covariance of
// Shuster and Oh (1981), J. Guidance and Control 4(1), 70, eq. 97: the inverse
// of the sum of (I - b b^T)/sigma^2. All from memory.
func (s solver) fit(poses []Pose) (turn, bool) {
	wantMid, gotMid := s.middles(poses)
	var profile magmath.Mat3
	var wants, gots float64
	for _, p := range poses {
		w := 1 / (s.sigma(p) * s.sigma(p))
		want, got := r3.Sub(p.Want, wantMid), r3.Sub(p.Got, gotMid)
		profile = profile.Add(magmath.Outer(got, want).Scale(w))
		wants, gots = wants+w*r3.Dot(want, want), gots+w*r3.Dot(got, got)
	}
	u, v, sv, ok := svd3(profile)
	if !ok || wants == 0 || sv[1] <= 1e-9*sv[0] {
		return turn{}, false
	}
	best, worse := sv[0]+sv[1]+sv[2], sv[0]+sv[1]-sv[2]
	t := turn{
		q:     u.Mul(v.Transpose()),
		scale: best / wants,
		chi2:  max(0, gots-best*best/wants), other: max(0, gots-worse*worse/wants),
		dof: 3*len(poses) - s.parameters(),
	}
	if s.free {
		t.offset = r3.Sub(gotMid, r3.Scale(t.scale, t.q.Apply(wantMid)))
	}
	t.cov, ok = s.covariance(poses, t)
	return t, ok
}

// middles returns the weighted means where the offset is free, else zero.
func (s solver) middles(poses []Pose) (want, got r3.Vec) {
	if !s.free {
		return r3.Vec{}, r3.Vec{}
	}
	sum := 0.0
	for _, p := range poses {
		w := 1 / (s.sigma(p) * s.sigma(p))
		sum += w
		want, got = r3.Add(want, r3.Scale(w, p.Want)), r3.Add(got, r3.Scale(w, p.Got))
	}
	return r3.Scale(1/sum, want), r3.Scale(1/sum, got)
}

// covariance returns the covariance of a small turn of the craft frame, radians squared,
// enlarged where the poses scatter more than was stated.
func (s solver) covariance(poses []Pose, t turn) (magmath.Mat3, bool) {
	n := s.parameters()
	normal := mat.NewSymDense(n, nil)
	for _, p := range poses {
		w := 1 / (s.sigma(p) * s.sigma(p))
		turned := magmath.Cross(p.Want).Scale(-t.scale)
		for row := range 3 {
			j := make([]float64, n)
			copy(j, turned[row][:])
			j[3] = [3]float64{p.Want.X, p.Want.Y, p.Want.Z}[row]
			if s.free {
				j[4+row] = 1
			}
			normal.SymRankOne(normal, w, mat.NewVecDense(n, j))
		}
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(normal) || chol.Cond() > 1e12 || chol.InverseTo(&inverse) != nil {
		return magmath.Mat3{}, false
	}
	enlarge := 1.0
	if t.dof > 0 {
		enlarge = max(1, t.chi2/float64(t.dof))
	}
	return magmath.Block(&inverse, 0, 0).Scale(enlarge), true
}

// left returns what the fit leaves of a pose, in standard uncertainties.
func (s solver) left(t turn, p Pose) float64 {
	return r3.Norm(r3.Sub(p.Got, t.predict(p.Want))) / s.sigma(p)
}

func (t turn) predict(want r3.Vec) r3.Vec {
	return r3.Add(r3.Scale(t.scale, t.q.Apply(want)), t.offset)
}

// svd3 returns m = u diag(s) v^T with s falling.
func svd3(m magmath.Mat3) (u, v magmath.Mat3, s [3]float64, ok bool) {
	var svd mat.SVD
	if !m.Finite() || !svd.Factorize(mat.NewDense(3, 3, []float64{m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2]}), mat.SVDFull) {
		return u, v, s, false
	}
	var du, dv mat.Dense
	svd.UTo(&du)
	svd.VTo(&dv)
	copy(s[:], svd.Values(nil))
	return magmath.Block(&du, 0, 0), magmath.Block(&dv, 0, 0), s, true
}

// fitRoom returns the fit with the dip of the place that fits best near that of
// the reference: in a room they differ by degrees, through no fault of a pose. chi2 holds
// the prior's share.
func (s solver) fitRoom(poses []Pose, o Options) (turn, bool) {
	at := func(dip float64) (turn, bool) {
		moved := make([]Pose, len(poses))
		for i, p := range poses {
			moved[i] = p.tipped(dip, o.Field)
		}
		t, ok := s.fit(moved)
		prior := dip / o.DipDeg * (dip / o.DipDeg)
		t.chi2, t.other, t.dipDeg = t.chi2+prior, t.other+prior, dip
		return t, ok
	}
	cost := func(dip float64) float64 {
		t, ok := at(dip)
		if !ok {
			return math.Inf(1)
		}
		return t.chi2
	}
	return at(magmath.MinimumBetween(cost, -dipReach*o.DipDeg, dipReach*o.DipDeg))
}

// tipped returns the pose with the field of the place tipped; a pose without a
// name of ours keeps what it wants.
func (p Pose) tipped(dipDeg float64, field r3.Vec) Pose {
	if want, ok := p.Name.In(tipped(field, dipDeg)); ok {
		p.Want = want
	}
	return p
}

// tipped returns the field with its dip enlarged.
func tipped(field r3.Vec, deg float64) r3.Vec {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	h := math.Hypot(field.X, field.Y)
	if h == 0 {
		return field
	}
	level := (h*cos - field.Z*sin) / h
	return r3.Vec{X: field.X * level, Y: field.Y * level, Z: field.Z*cos + h*sin}
}
