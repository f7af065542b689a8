package dwell

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
)

var somewhere = r3.Vec{X: 18.3, Y: -4.1, Z: 44.7}

func mustLocate(t *testing.T, s Series) Estimate {
	t.Helper()
	est, err := Locate(t.Context(), s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return est
}

// The mean is the best there is on clean Gaussian data.
func TestLocateEfficiency(t *testing.T) {
	for _, phi := range []float64{0, 0.6} {
		noise := newAR1(1, phi)
		var plain, robust float64
		for range simtest.Trials(500, 2500) {
			s := noise.still(120, 50, somewhere, 0.2)
			est := mustLocate(t, s)
			cols := columns(s.B)
			for k, truth := range array(somewhere) {
				m, _ := moments(cols[k])
				plain += (m - truth) * (m - truth)
				d := array(est.Mean)[k] - truth
				robust += d * d
			}
		}
		between(t, fmt.Sprintf("efficiency at phi %g", phi), plain/robust, 0.95, 1.02)
	}
}

func TestLocateCoverage(t *testing.T) {
	for _, c := range []struct {
		phi, low, high float64
		n              int
	}{
		{0, 0.93, 0.97, 120},
		{0.3, 0.93, 0.97, 120},
		{0.6, 0.93, 0.97, 120},
		{0.8, 0.92, 0.98, 120},
		{0.6, 0.93, 0.97, 600},
		{0, 0.92, 0.98, 15}, // 3 s at 5 Hz
		{0.6, 0.90, 0.985, 40},
	} {
		noise := newAR1(2, c.phi)
		count, runs := 0, simtest.Trials(400, 2000)
		df, width := 0.0, 0.0
		for range runs {
			est := mustLocate(t, noise.still(c.n, 50, somewhere, 0.2))
			count += inside(est.Mean, somewhere, diagonal(est.Cov), est.DF)
			df += est.DF / float64(runs)
			width += est.Effective / float64(runs)
		}
		t.Logf("mean DF %.1f, effective %.1f", df, width)
		between(t, fmt.Sprintf("coverage at phi %g of %d", c.phi, c.n), float64(count)/float64(3*runs), c.low, c.high)
	}
}

// Five per cent of spikes, on one side, of any size: the bias stays under a
// fifth of a sample's deviation at the worst size and vanishes for large ones.
func TestLocateSpikes(t *testing.T) {
	for _, c := range []struct{ size, bias float64 }{{2.7, 0.2}, {4, 0.2}, {10, 0.02}, {1e4, 0.02}} {
		noise := newAR1(3, 0.6)
		rng := rand.New(rand.NewPCG(3, 3))
		count, runs, bias := 0, simtest.Trials(400, 1500), 0.0
		for range runs {
			s := noise.still(120, 50, somewhere, 0.2)
			for range 6 {
				s.B[rng.IntN(120)].X += c.size * 0.2
			}
			est := mustLocate(t, s)
			bias += (est.Mean.X - somewhere.X) / 0.2 / float64(runs)
			count += inside(est.Mean, somewhere, diagonal(est.Cov), est.DF)
			if c.size > 8 && (est.Spikes < 4 || est.Spikes > 8) {
				t.Errorf("%d spikes found of about 6", est.Spikes)
			}
		}
		between(t, fmt.Sprintf("bias in deviations, spikes of %g", c.size), math.Abs(bias), 0, c.bias)
		between(t, fmt.Sprintf("coverage with spikes of %g", c.size), float64(count)/float64(3*runs), 0.90, 0.985)
	}
}

// A held stream (20 Hz in a 100 Hz log) has the covariance of its readings.
func TestLocateHeldStream(t *testing.T) {
	noise := newAR1(4, 0)
	var held, plain float64
	for range 200 {
		slow := noise.still(60, 20, somewhere, 0.5)
		fast := Series{}
		for i, b := range slow.B {
			for j := range 5 {
				fast.TS = append(fast.TS, float64(5*i+j)/100)
				fast.B = append(fast.B, b)
			}
		}
		a, b := mustLocate(t, slow), mustLocate(t, fast)
		if !b.Held || b.Distinct != 60 || b.Mean != a.Mean || a.Held {
			t.Fatalf("held %v, distinct %d, mean %v want %v", b.Held, b.Distinct, b.Mean, a.Mean)
		}
		held += b.Cov.Trace()
		plain += a.Cov.Trace()
	}
	between(t, "variance ratio", held/plain, 0.999, 1.001)
}

// A quiet coarse sensor repeats by chance; thinning it would bias the mean.
func TestLocateChanceRepeats(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	mean := 0.0
	for range 200 {
		s := Series{}
		for i := range 120 {
			v := 20.0
			if rng.Float64() < 0.2 {
				v = 20.15
			}
			s.TS = append(s.TS, float64(i)/50)
			s.B = append(s.B, r3.Vec{X: v, Y: 1, Z: 40})
		}
		est := mustLocate(t, s)
		if est.Held || est.Spikes > 0 {
			t.Fatalf("held %v, %d spikes", est.Held, est.Spikes)
		}
		mean += est.Mean.X / 200
	}
	// The biweight leans a little to the common value; never to 20.075.
	between(t, "mean", mean, 20.015, 20.035)
}

// GUM, JCGM 100:2008, F.2.2.1: a step d hides a rectangular distribution of
// deviation d/sqrt(12).
func TestLocateQuantised(t *testing.T) {
	flat := Series{}
	for i := range 100 {
		flat.TS = append(flat.TS, float64(i)/50)
		flat.B = append(flat.B, somewhere)
	}
	for _, c := range []struct{ told, want float64 }{{0, 0.3}, {0.15, 0.15}} {
		o := Options{}
		o.ResolutionUT = c.told
		est, err := Locate(t.Context(), flat, o)
		if err != nil || est.Mean != somewhere {
			t.Fatal(est.Mean, err)
		}
		between(t, "deviation of the mean", math.Sqrt(est.Cov[0][0]), c.want/math.Sqrt(12)*0.999, c.want/math.Sqrt(12)*1.2)
	}
	// Coarse rounding of any true value: the interval still covers.
	noise := newAR1(6, 0)
	rng := rand.New(rand.NewPCG(6, 6))
	for _, sd := range []float64{0.02, 0.1, 0.3} {
		count, runs := 0, simtest.Trials(400, 1500)
		for range runs {
			truth := r3.Vec{X: 20 + rng.Float64(), Y: -3 + rng.Float64(), Z: 40 + rng.Float64()}
			s := noise.still(120, 50, truth, sd)
			for i, b := range s.B {
				s.B[i] = r3.Vec{X: 0.3 * math.Round(b.X/0.3), Y: 0.3 * math.Round(b.Y/0.3), Z: 0.3 * math.Round(b.Z/0.3)}
			}
			est := mustLocate(t, s)
			count += inside(est.Mean, truth, diagonal(est.Cov), est.DF)
		}
		between(t, fmt.Sprintf("coverage at noise %g, step 0.3", sd), float64(count)/float64(3*runs), 0.92, 1)
	}
}

func TestLocateDrift(t *testing.T) {
	noise := newAR1(8, 0.6)
	false1, runs := 0, simtest.Trials(400, 2000)
	for range runs {
		if mustLocate(t, noise.still(120, 50, somewhere, 0.2)).DriftP < 0.01 {
			false1++
		}
	}
	between(t, "false drift at p < 0.01", float64(false1)/float64(runs), 0, 0.02)
	s := noise.still(240, 50, somewhere, 0.2)
	for i, ts := range s.TS {
		s.B[i].Y += 0.3 * ts
	}
	est := mustLocate(t, s)
	between(t, "slope", est.Drift.Y, 0.2, 0.4)
	between(t, "its probability", est.DriftP, 0, 0.001)
}

func TestLocateSmall(t *testing.T) {
	one := mustLocate(t, Series{[]float64{0}, []r3.Vec{somewhere}})
	if one.Mean != somewhere || one.Cov[0][0] < 1 || one.DF != 1 || one.N != 1 {
		t.Errorf("one sample: %+v", one)
	}
	two := mustLocate(t, Series{[]float64{0, 1}, []r3.Vec{{X: 1}, {X: 3}}})
	// Variance of the mean of 1 and 3 is 1; the axes that stand still have a step.
	if two.Mean.X != 2 || two.Cov[0][0] < 1 || two.Cov[1][1] <= 0 || two.DF != 1 {
		t.Errorf("two samples: %+v", two)
	}
	for n := 3; n < 12; n++ {
		est := mustLocate(t, newAR1(9, 0).still(n, 5, somewhere, 0.2))
		if !est.Cov.Finite() || est.Cov[0][0] <= 0 || est.DF < 1 || est.Effective < 1 || est.Effective > float64(n) {
			t.Errorf("%d samples: %+v", n, est)
		}
	}
	o := Options{}
	o.FloorUT = 0.5
	est, err := Locate(t.Context(), Series{[]float64{0, 1}, []r3.Vec{{X: 1}, {X: 1}}}, o)
	if err != nil || est.Cov[0][0] < 0.1 {
		t.Errorf("the probe's floor is forgotten: %v %v", est.Cov, err)
	}
}

func TestLocateRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		s     Series
		want  error
		index int
	}{
		{"nothing", Series{}, ErrNoSamples, -1},
		{"lengths", Series{[]float64{1}, nil}, ErrLengths, -1},
		{"NaN field", Series{[]float64{0, 1}, []r3.Vec{{}, {Y: nan}}}, ErrNotFinite, 1},
		{"infinite field", Series{[]float64{0}, []r3.Vec{{Z: math.Inf(1)}}}, ErrNotFinite, 0},
		{"NaN time", Series{[]float64{nan}, []r3.Vec{{}}}, ErrNotFinite, 0},
		{"backwards", Series{[]float64{0, 2, 1}, make([]r3.Vec, 3)}, ErrBackwards, 2},
	} {
		_, err := Locate(t.Context(), c.s, Options{})
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
		if bad, ok := errors.AsType[*SampleError](err); ok != (c.index >= 0) || ok && bad.Index != c.index {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func ExampleLocate() {
	s := Series{
		TS: []float64{0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1},
		B:  make([]r3.Vec, 12),
	}
	for i := range s.B {
		s.B[i] = r3.Vec{X: 20 + 0.1*float64(i%3), Y: -4, Z: 44}
	}
	s.B[5].Z = 300 // a spike
	est, err := Locate(context.Background(), s, Options{})
	fmt.Printf("%.1f uT, %d spike, %v\n", est.Mean, est.Spikes, err)
	// Output: {20.1 -4.0 44.0} uT, 1 spike, <nil>
}

func BenchmarkLocate120(b *testing.B) {
	s := newAR1(10, 0.6).still(120, 50, somewhere, 0.2)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Locate(b.Context(), s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
