package calib

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/magmath/simtest"
)

// distorted is a probe as the default prior draws them.
func distorted(rng *rand.Rand) (magmath.Mat3, r3.Vec) {
	g := func() float64 { return 1 + 0.03*rng.NormFloat64() }
	c := func() float64 { return 0.02 * rng.NormFloat64() }
	m := magmath.Diagonal(g(), g(), g())
	m[0][1], m[0][2], m[1][2] = c(), c(), c()
	m[1][0], m[2][0], m[2][1] = m[0][1], m[0][2], m[1][2]
	return m, r3.Vec{X: 30 * rng.NormFloat64(), Y: 30 * rng.NormFloat64(), Z: 30 * rng.NormFloat64()}
}

// What the readings support is fitted: everything on a full sphere, the fewest
// where the craft can only be yawed and tipped a little.
func TestParametersFollowCoverage(t *testing.T) {
	for _, c := range []struct {
		tilt float64
		want []int
	}{{180, []int{9}}, {45, []int{9}}, {20, []int{3, 4}}, {10, []int{3, 4}}, {5, []int{3, 4}}} {
		s := plainScene()
		s.tiltDeg, s.offset, s.noise, s.n = c.tilt, r3.Vec{X: -9, Y: 14, Z: 23}, 0.4, 500
		r := calibrated(t, s.samples(testRNG(uint64(c.tilt))), s.options())
		if !r.Accepted || !slices.Contains(c.want, r.Parameters) {
			t.Errorf("tilt %g: accepted %v with %d parameters, want one of %v: %v", c.tilt, r.Accepted, r.Parameters, c.want, r.Refusals)
		}
		if d := r3.Norm(r3.Sub(r.OffsetUT, s.offset)); d > 3*r3.Norm(r.OffsetStandardUT)+0.2 {
			t.Errorf("tilt %g: offset off by %.2f uT, stated %.2f", c.tilt, d, r.OffsetStandardUT)
		}
		nine := r.Candidates[3]
		t.Logf("tilt %3g: %d parameters, offset off by %.2f uT; %v", c.tilt, r.Parameters, r3.Norm(r3.Sub(r.OffsetUT, s.offset)), r.Chosen)
		if c.tilt <= 10 && nine.NoiseUT < 3*r.Candidates[0].TotalUT {
			t.Errorf("tilt %g: nine parameters are priced at %.2f uT, three at %.2f", c.tilt, nine.TotalUT, r.Candidates[0].TotalUT)
		}
	}
}

// A thin band says little about the strength by its own curvature; where the
// reference fits, it is taken, and the offset along the plumb line comes out.
func TestThinBandTakesTheReference(t *testing.T) {
	for seed := range uint64(8) {
		s := plainScene()
		s.strength, s.dipDeg, s.tiltDeg, s.n = 49.2, 66.6, 5, 500
		s.offset = r3.Vec{X: 12, Y: -30, Z: 5}
		o := s.options()
		o.Scale, o.TiltDeg = FromEither, 20
		r := calibrated(t, s.samples(testRNG(200+seed)), o)
		if !r.Accepted || r.Parameters != 3 || r.Scale != FromReference || math.Abs(r.OffsetUT.Z-5) > 0.2 {
			t.Errorf("seed %d: accepted %v, %d parameters, scale %d, offset %.2f: %v", 200+seed, r.Accepted, r.Parameters, r.Scale, r.OffsetUT, r.Refusals)
		}
	}
}

// Readings without any noise are no trouble.
func TestWithoutNoise(t *testing.T) {
	s := plainScene()
	s.noise, s.matrix, s.offset = 0, magmath.Diagonal(1.02, 0.99, 1.01), r3.Vec{X: 3, Y: 4, Z: -5}
	r := calibrated(t, s.along(tumble(600, 9), testRNG(1)), s.options())
	if d := r3.Norm(r3.Sub(r.OffsetUT, s.offset)); !r.Accepted || d > 1e-4 {
		t.Errorf("accepted %v, off by %g: %v", r.Accepted, d, r.Refusals)
	}
}

func TestForcedParameters(t *testing.T) {
	s := plainScene()
	for _, p := range []int{3, 4, 6, 9} {
		o := s.options()
		o.Parameters = p
		r := calibrated(t, s.samples(testRNG(2)), o)
		if r.Parameters != p || r.Chosen.Values["asked"] != true {
			t.Errorf("asked for %d, got %d: %v", p, r.Parameters, r.Refusals)
		}
		m := r.Matrix
		offDiagonal := math.Abs(m[0][1]) + math.Abs(m[0][2]) + math.Abs(m[1][2])
		gains := math.Abs(m[0][0]-m[1][1]) + math.Abs(m[0][0]-m[2][2])
		if (p < 9) != (offDiagonal == 0) || (p < 6) != (gains < 1e-12) || (p == 3) != (m == magmath.Identity()) {
			t.Errorf("%d parameters gave the matrix %.4f", p, m)
		}
	}
}

func TestRepeatedReadingsCountOnce(t *testing.T) {
	s := plainScene()
	once := s.samples(testRNG(4))
	var often []Sample
	for _, v := range once {
		for k := range 5 {
			often = append(often, Sample{v.TS + 0.002*float64(k), v.B})
		}
	}
	a, b := calibrated(t, once, s.options()), calibrated(t, often, s.options())
	if a.OffsetUT != b.OffsetUT || a.OffsetStandardUT != b.OffsetStandardUT || b.Repeated != 4*len(once) || b.Samples != 5*len(once) {
		t.Errorf("once %v +- %v; five times %v +- %v, repeated %d", a.OffsetUT, a.OffsetStandardUT, b.OffsetUT, b.OffsetStandardUT, b.Repeated)
	}
}

func TestRefusals(t *testing.T) {
	jump := func(samples []Sample, from, to float64, by r3.Vec) []Sample {
		for i := range samples {
			if samples[i].TS >= from && samples[i].TS < to {
				samples[i].B = r3.Add(samples[i].B, by)
			}
		}
		return samples
	}
	clip := func(samples []Sample, at float64) []Sample {
		for i := range samples {
			b := &samples[i].B
			b.X, b.Y, b.Z = min(max(b.X, -at), at), min(max(b.Y, -at), at), min(max(b.Z, -at), at)
		}
		return samples
	}
	base := plainScene()
	base.offset, base.n, base.rate = r3.Vec{X: 5, Y: -12, Z: 30}, 900, 20
	flat := base
	flat.tiltDeg = 0
	cone := base
	cone.tiltDeg = 20
	var side, patch []r3.Vec
	rng := testRNG(9)
	for len(side) < 900 {
		if v := cone.direction(rng); math.Abs(math.Atan2(v.Y, v.X)) < 0.9 {
			side = append(side, v)
		}
	}
	for range 900 {
		patch = append(patch, r3.Unit(r3.Vec{X: 1, Y: 0.05 * rng.NormFloat64(), Z: 0.05 * rng.NormFloat64()}))
	}
	rangeOf := func(o Options, ut float64) Options { o.RangeUT = ut; return o }
	known := base.options()
	counts := base.samples(testRNG(5))
	for i := range counts {
		counts[i].B = r3.Scale(10.9, counts[i].B)
	}
	for _, c := range []struct {
		name    string
		samples []Sample
		o       Options
		want    string
		atS     []float64 // of the changes
	}{
		{"nothing", nil, known, "calib.short", nil},
		{"thirty readings", base.samples(testRNG(5))[:30], known, "calib.short", nil},
		{"two seconds", func() []Sample { s := base; s.rate = 500; return s.samples(testRNG(5)) }(), known, "calib.short", nil},
		{"flat, strength known", flat.samples(testRNG(5)), flat.options(), "calib.flat", nil},
		{"flat, strength not known", flat.samples(testRNG(5)), DefaultOptions(), "calib.flat", nil},
		{"one side of the circle", cone.along(side, testRNG(5)), cone.options(), "calib.one-sided", nil},
		{"a patch", base.along(patch, testRNG(5)), known, "calib.still", nil},
		{"at full scale, stated", clip(base.samples(testRNG(5)), 60), rangeOf(known, 60), "calib.saturated", nil},
		{"at full scale, not stated", clip(base.samples(testRNG(5)), 60), known, "calib.saturated", nil},
		{"a magnet comes", jump(base.samples(testRNG(5)), 20, 99, r3.Vec{X: 8, Y: 4}), known, "calib.changed", []float64{20}},
		{"a magnet comes and goes", jump(base.samples(testRNG(5)), 15, 30, r3.Vec{Z: -14}), known, "calib.changed", []float64{15, 30}},
		{"a small change", jump(base.samples(testRNG(5)), 25, 99, r3.Vec{Y: 3}), known, "calib.changed", []float64{25}},
		{"counts", counts, known, "calib.scale", nil},
	} {
		r := calibrated(t, c.samples, c.o)
		near := func(a, b float64) bool { return math.Abs(a-b) <= 0.5 }
		if r.Accepted || !remark.Has(r.Refusals, c.want) || !slices.EqualFunc(r.Changes, c.atS, near) {
			t.Errorf("%s: accepted %v, changes %.1f, want %s with %g: %v", c.name, r.Accepted, r.Changes, c.want, c.atS, r.Refusals)
		}
	}
}

// Good readings are not refused, whatever the probe, and no change is seen
// where there was none.
func TestNoFalseRefusal(t *testing.T) {
	runs := simtest.Trials(12, 60)
	rng := testRNG(77)
	for i := range runs {
		s := plainScene()
		s.matrix, s.offset = distorted(rng)
		s.noise = 0.1 + 0.8*rng.Float64()
		s.lag1 = 0.6 * rng.Float64()
		if i%3 == 0 {
			s.spikes, s.spikeUT = 0.03, 100
		}
		o := s.options()
		if i%2 == 0 {
			o.TiltDeg = 20
		}
		r := calibrated(t, s.along(tumble(1200, 8+3*rng.Float64()), rng), o)
		if !r.Accepted {
			t.Errorf("run %d, noise %.2f, memory %.2f, spikes %.2f: refused: %v", i, s.noise, s.lag1, s.spikes, r.Refusals)
		}
		if r.SphereCovered < 0.6 {
			t.Errorf("run %d: covered %.2f", i, r.SphereCovered)
		}
	}
}

// Wide gaps between the turns of the hand are no one-sided rotation, however
// the craft will fly.
func TestFewTurnsOverTheWholeSphere(t *testing.T) {
	s := plainScene()
	s.offset = r3.Vec{X: 4, Y: 8, Z: -20}
	o := s.options()
	o.TiltDeg = 20
	r := calibrated(t, s.along(tumble(1500, 4), testRNG(14)), o)
	if !r.Accepted || r.AttitudesCovered > 0.7 || r.SphereCovered < 0.6 {
		t.Errorf("accepted %v, %.2f of the attitudes, %.2f of the sphere: %v", r.Accepted, r.AttitudesCovered, r.SphereCovered, r.Refusals)
	}
}

// Magnets far apart in time: a short disturbance is cut out and said.
func TestShortDisturbanceIsCutOut(t *testing.T) {
	s := plainScene()
	s.n, s.rate = 1500, 25
	samples := s.samples(testRNG(8))
	for i := range samples {
		if samples[i].TS > 56 {
			samples[i].B.X += 40
		}
	}
	r := calibrated(t, samples, s.options())
	if !r.Accepted || !remark.Has(r.Remarks, "calib.changed") || r3.Norm(r.OffsetUT) > 0.3 || r.Rejected < 90 {
		t.Errorf("accepted %v, offset %.2f, rejected %d, remarks %v: %v", r.Accepted, r.OffsetUT, r.Rejected, r.Remarks, r.Refusals)
	}
}

// A probe worse than the prior is noticed and fitted with what it needs.
func TestPriorContradicted(t *testing.T) {
	s := plainScene()
	s.tiltDeg, s.n, s.noise = 30, 600, 0.1
	s.matrix = magmath.Diagonal(1.2, 0.85, 1)
	r := calibrated(t, s.samples(testRNG(6)), s.options())
	if !remark.Has(r.Remarks, "calib.prior") || r.Prior.Gain < 0.05 {
		if r.Parameters < 6 {
			t.Errorf("parameters %d, prior %.3f, remarks %v", r.Parameters, r.Prior, r.Remarks)
		}
	}
	if d := r3.Norm(r3.Sub(r.OffsetUT, s.offset)); d > 3*r3.Norm(r.OffsetStandardUT) {
		t.Errorf("offset off by %.2f, stated %.2f", d, r.OffsetStandardUT)
	}
}

// The scale: outdoors the corrected field has the reference's strength; with
// the probe's own units the determinant is 1 and the strength is found.
func TestScaleFrom(t *testing.T) {
	s := plainScene()
	s.strength = 46 // of the room; the reference is 50
	samples := s.samples(testRNG(12))
	o := s.options()
	o.ReferenceUT = 50
	for _, c := range []struct {
		from  ScaleFrom
		is    ScaleFrom
		field float64
		det   float64
	}{{FromReference, FromReference, 50, math.Pow(50./46, 3)}, {FromProbe, FromProbe, 46, 1}, {FromEither, FromProbe, 46, 1}} {
		o.Scale = c.from
		r := calibrated(t, samples, o)
		if r.Scale != c.is || math.Abs(r.FieldUT-c.field) > 0.15 || math.Abs(r.Matrix.Det()-c.det) > 0.01 || math.Abs(r.Ratio-0.92) > 0.005 {
			t.Errorf("scale %d: %d, strength %.2f, determinant %.4f, ratio %.3f", c.from, r.Scale, r.FieldUT, r.Matrix.Det(), r.Ratio)
		}
	}
	o.Scale, o.ReferenceUT = FromEither, 46.5
	if r := calibrated(t, samples, o); r.Scale != FromReference || r.FieldUT != 46.5 {
		t.Errorf("within 5 per cent the reference counts: %d %.2f", r.Scale, r.FieldUT)
	}
}

// The covariance of the matrix holds too.
func TestMatrixIntervals(t *testing.T) {
	t.Parallel()
	runs := simtest.Trials(30, 120)
	rng := testRNG(31)
	in, all := 0, 0
	for range runs {
		s := plainScene()
		s.matrix, s.offset = distorted(rng)
		o := s.options()
		s.strength += 0.138 * rng.NormFloat64()
		r := calibrated(t, s.samples(rng), o)
		got, want, sd := six(r.Matrix), six(s.matrix.Scale(o.ReferenceUT/s.strength)), six(r.MatrixStandard)
		truth := six(s.matrix)
		for k := range 6 {
			all++
			if math.Abs(got[k]-truth[k]) <= 1.96*sd[k] {
				in++
			}
			if math.Abs(got[k]-want[k]) > 0.02 {
				t.Errorf("element %d: %.4f, truth %.4f", k, got[k], want[k])
			}
		}
	}
	if share := float64(in) / float64(all); share < 0.92 || share > 0.98 {
		t.Errorf("%.1f %% of the intervals of M hold", 100*share)
	} else {
		t.Logf("%.1f %% of the intervals of M hold", 100*share)
	}
}

func TestBadReadings(t *testing.T) {
	nan := math.NaN()
	s := plainScene()
	samples := s.samples(testRNG(1))
	samples[3].B.X, samples[9].B.Z, samples[20].TS = nan, math.Inf(1), nan
	r := calibrated(t, samples, s.options())
	if !r.Accepted || r.Rejected < 3 || r.Rejected > 6 {
		t.Errorf("accepted %v, rejected %d: %v", r.Accepted, r.Rejected, r.Refusals)
	}
	var alike, line []Sample
	for i := range 300 {
		alike = append(alike, Sample{float64(i), r3.Vec{X: 20, Y: 1, Z: 40}})
		line = append(line, Sample{float64(i), r3.Vec{X: float64(i)}})
	}
	for name, bad := range map[string][]Sample{"alike": alike, "line": line, "zero": make([]Sample, 300)} {
		if r := calibrated(t, bad, s.options()); r.Accepted || len(r.Refusals) == 0 {
			t.Errorf("%s: accepted %v, %v", name, r.Accepted, r.Refusals)
		}
	}
}

func BenchmarkCalibrate300(b *testing.B) { benchmark(b, 300) }

func BenchmarkCalibrate10000(b *testing.B) { benchmark(b, 10000) }

func benchmark(b *testing.B, n int) {
	rng := testRNG(1)
	s := plainScene()
	s.matrix, s.offset = distorted(rng)
	s.n = n
	samples, o := s.samples(rng), s.options()
	b.ReportAllocs()
	for b.Loop() {
		if r := calibrated(b, samples, o); !r.Accepted {
			b.Fatal(r.Refusals)
		}
	}
}
