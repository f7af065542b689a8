package source

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// The field of what was found, between stations and above them, lies within
// its intervals of the truth; the closed form of leaving one out agrees with
// leaving one out.
func TestFoundField(t *testing.T) {
	at := stationsOn(7, 5, 60)
	inside, n := 0.0, 0.0
	trials := simtest.Trials(8, 30)
	for k := range trials {
		rng := rand.New(rand.NewPCG(uint64(k), 77))
		two := magnetsUnder(rng, 2, 150, 90, 60)
		d := magmath.Readings{At: at, B: make([]r3.Vec, len(at))}
		for i, p := range at {
			d.B[i] = r3.Add(two[0].Field(p), two[1].Field(p))
		}
		f, err := Find(t.Context(), noisy(d, shared(len(at), 0.5, 0.7), rng), nil, nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		var points []r3.Vec
		for range 20 {
			points = append(points, r3.Vec{X: 360 * (rng.Float64() - .5), Y: 240 * (rng.Float64() - .5), Z: -60 * rng.Float64()})
		}
		mean, cov := f.Predict(points)
		jm, jc := f.Joint(points)
		for i, p := range points {
			e := r3.Sub(mean[i], r3.Add(two[0].Field(p), two[1].Field(p)))
			for a, v := range []float64{e.X, e.Y, e.Z} {
				n++
				if math.Abs(v) < 1.96*math.Sqrt(cov[i][a][a]) {
					inside++
				}
				if math.Abs(jc.At(3*i+a, 3*i+a)-cov[i][a][a]) > 1e-6*cov[i][a][a] || jm[i] != mean[i] {
					t.Fatalf("joint and single prediction differ at %v", p)
				}
			}
		}
	}
	t.Logf("95 %% intervals hold in %.1f %% of %.0f", 100*inside/n, n)
	// Errors of one fit go together: 30 fits settle the rate to about 2 %.
	if r := inside / n; r < 0.91 || r > 0.99 {
		t.Errorf("intervals hold in %.3f", r)
	}
}

func TestLeaveOneOut(t *testing.T) {
	at := stationsOn(6, 5, 60)
	rng := rand.New(rand.NewPCG(3, 78))
	truth := magnetsUnder(rng, 1, 120, 90, 60)[0]
	d := readingsOf(at, 0.5, rng, truth)
	f, err := Find(t.Context(), d, nil, nil, Options{SpacingMM: 60})
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for i := range at {
		less := magmath.Readings{Noise: white(len(at)-1, 0.5)}
		for k := range at {
			if k != i {
				less.At, less.B = append(less.At, at[k]), append(less.B, d.B[k])
			}
		}
		g, err := Find(t.Context(), less, nil, nil, Options{SpacingMM: 60})
		if err != nil {
			t.Fatal(err)
		}
		b, _ := g.At(at[i])
		sum += r3.Norm2(r3.Sub(d.B[i], b))
	}
	rms := math.Sqrt(sum / float64(3*len(at)))
	t.Logf("by hand %.3f uT, closed form %.3f uT, %.0f %% inside", rms, f.LeftOut.RMSEUT, 100*f.LeftOut.Inside95Fraction)
	if math.Abs(f.LeftOut.RMSEUT-rms) > 0.05*rms {
		t.Errorf("closed form %.3f uT, by hand %.3f uT", f.LeftOut.RMSEUT, rms)
	}
}
