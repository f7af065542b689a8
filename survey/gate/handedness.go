package gate

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
)

// Limits of the handedness. The nose is known to ten degrees or so, and a room
// turns the horizontal field by some more where it is weak.
const (
	noseWrongDeg  = 30
	fieldWrongDeg = 35 // of the whole vector, which a room bends less
	leastHUT      = 5.
	lawStations   = 12 // fewer vectors tell nothing of the law
	lawMost       = 60 // stations that are asked
	lawGain       = 35 // log of the ratio of likelihoods
)

// handedness tells mirrored and exchanged axes: by the nose, whose direction says
// where the horizontal field must point, and by the law of the field, which has
// neither curl nor sources where the stations are and breaks it when an axis is
// mirrored.
func handedness(ctx context.Context, s subject) Check {
	for _, r := range s.f.Runs {
		if r.Header.Axes != nil && r.Header.Axes.Det() < 0 {
			return failed(remark.New("gate.axes_mirrored").At(remark.Place{Run: r.Header.Run}))
		}
	}
	nose, off := s.noseAgrees(magmath.Identity())
	if nose.State == Failed {
		return nose
	}
	law := s.lawAgrees(ctx, off)
	switch {
	case law.State == Failed:
		return law
	case law.State == Passed || nose.State == Passed:
		return passed()
	}
	return nose
}

// noseAgrees compares the direction of the room's field, its axes turned by m, with
// what the nose says of it: the horizontal part, and the whole vector. Where the nose
// is not known it compares the dip. off is the largest departure of the horizontal part, degrees.
func (s subject) noseAgrees(m magmath.Mat3) (out Check, off float64) {
	out = abstain(remark.New("gate.nose_unknown"))
	for room, rf := range s.f.Rooms {
		mean, n := s.ambient(room)
		if n == 0 {
			continue
		}
		mean = m.Apply(mean)
		h := math.Hypot(mean.X, mean.Y)
		nose := math.Atan2(-mean.Y, mean.X) * 180 / math.Pi
		got := nose
		if rf.NoseDeg != nil {
			nose = *rf.NoseDeg
		}
		sin, cos := math.Sincos(nose * math.Pi / 180)
		want := r3.Vec{X: s.f.HUT * cos, Y: -s.f.HUT * sin, Z: s.f.Reference.Z / 1000}
		level := math.Abs(math.Remainder(got-nose, 360))
		whole := math.Acos(max(-1, min(1, r3.Cos(mean, want)))) * 180 / math.Pi
		tells := rf.NoseDeg != nil && h > leastHUT && s.f.HUT > leastHUT
		switch {
		case tells && level > noseWrongDeg, whole > fieldWrongDeg && rf.NoseDeg != nil:
			return failed(remark.New("gate.nose_contradicts", remark.Values{"nose_deg": nose, "field_deg": math.Mod(got+360, 360), "off_deg": max(level, whole)})), level
		case whole > fieldWrongDeg:
			return failed(remark.New("gate.dip_contradicts", remark.Values{"off_deg": whole})), 0
		case tells:
			out, off = passed(), max(off, level)
		}
	}
	return out, off
}

// mirrorings are the ways in which axes are mistaken that turn the hand round.
var mirrorings = []struct {
	name string
	m    magmath.Mat3
}{
	{"-x", magmath.Diagonal(-1, 1, 1)},
	{"-y", magmath.Diagonal(1, -1, 1)},
	{"-z", magmath.Diagonal(1, 1, -1)},
	{"xy", magmath.Mat3{{0, 1, 0}, {1, 0, 0}, {0, 0, 1}}},
	{"xz", magmath.Mat3{{0, 0, 1}, {0, 1, 0}, {1, 0, 0}}},
	{"yz", magmath.Mat3{{1, 0, 0}, {0, 0, 1}, {0, 1, 0}}},
}

// noseSDDeg is how well the direction of the nose is known, and the room's field with
// it.
const noseSDDeg = 10

// lawAgrees compares how well a field without sources on the surface explains the
// steady disturbance as it was read with how well it explains it with axes
// mirrored, in the ways that nose and dip leave open; the departure off of the nose
// as read counts as well. It abstains where the disturbance is too small to tell.
func (s subject) lawAgrees(ctx context.Context, off float64) Check {
	data, ok := s.disturbance()
	if !ok {
		return abstain(remark.New("gate.few_stations", remark.Values{"least": lawStations}))
	}
	best, name := math.Inf(-1), ""
	for _, k := range mirrorings {
		nose, then := s.noseAgrees(k.m)
		if nose.State == Failed {
			continue
		}
		l := s.likelihood(ctx, data, k.m) + (off*off-then*then)/(2*noseSDDeg*noseSDDeg)
		if l > best {
			best, name = l, k.name
		}
	}
	if name == "" {
		return passed() // any other hand contradicts nose or dip
	}
	asRead := s.likelihood(ctx, data, magmath.Identity())
	switch {
	case ctx.Err() != nil || math.IsInf(asRead, 0):
		return abstain(remark.New("gate.nose_unknown"))
	case best-asRead > lawGain:
		return failed(remark.New("gate.law_contradicts", remark.Values{"axes": name, "gain": best - asRead}))
	case asRead-best > lawGain/2:
		return passed()
	}
	return abstain(remark.New("gate.nose_unknown"))
}

// disturbance returns the steady disturbance at the stations, an even selection of
// them; false for too few.
func (s subject) disturbance() (magmath.Readings, bool) {
	if len(s.visits) == 0 {
		return magmath.Readings{}, false
	}
	var some []evaluate.Captured
	var at []r3.Vec
	for _, c := range s.f.Captured(evaluate.PartSteady) {
		if c.Disturbance {
			some, at = append(some, c), append(at, c.Sensor)
		}
	}
	if len(some) < lawStations {
		return magmath.Readings{}, false
	}
	mean, cov := s.f.Joint(some)
	return magmath.Readings{At: at, B: mean, Noise: cov}.Thin(lawMost), true
}

// likelihood returns the log density of the stations left out in turn, under a
// harmonic field, with the readings turned by m.
func (s subject) likelihood(ctx context.Context, data magmath.Readings, m magmath.Mat3) float64 {
	turned := magmath.Readings{At: data.At, B: make([]r3.Vec, len(data.B)), Noise: turnedNoise(data, m)}
	lowest := math.Inf(-1)
	for i, b := range data.B {
		turned.B[i] = m.Apply(b)
		lowest = max(lowest, data.At[i].Z)
	}
	harmonic := fieldmap.Candidates(turned, s.f.SpacingMM(), lowest)[1:2]
	fitted, err := fieldmap.Fit(ctx, turned, harmonic)
	if err != nil {
		return math.Inf(-1)
	}
	return fitted.LeaveOneOut().LogDensity
}

// turnedNoise returns the covariance of the readings turned by m.
func turnedNoise(d magmath.Readings, m magmath.Mat3) *mat.SymDense {
	n := len(d.B)
	out := mat.NewSymDense(3*n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			magmath.AddBlock(out, 3*i, 3*k, m.Mul(magmath.Block(d.Noise, 3*i, 3*k)).Mul(m.Transpose()))
		}
	}
	return out
}
