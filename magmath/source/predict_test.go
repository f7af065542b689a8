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
		for _, p := range points {
			mean, cov := f.At(p)
			e := r3.Sub(mean, r3.Add(two[0].Field(p), two[1].Field(p)))
			for a, v := range []float64{e.X, e.Y, e.Z} {
				n++
				if math.Abs(v) < 1.96*math.Sqrt(cov[a][a]) {
					inside++
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
