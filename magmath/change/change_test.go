package change

import (
	"errors"
	"math"
	"math/rand/v2"
	"quietmount/magmath"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// bench draws n stations' disturbances and differences with independent
// errors of 1 uT, plus a common part and a turn.
func bench(rng *rand.Rand, n int, uniform, turnDeg r3.Vec) Data {
	d := Data{Cov: mat.NewSymDense(3*n, nil)}
	for i := range 3 * n {
		d.Cov.SetSym(i, i, 1)
	}
	for range n {
		b := r3.Vec{X: 20 * rng.NormFloat64(), Y: 20 * rng.NormFloat64(), Z: 20 * rng.NormFloat64()}
		e := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		t := r3.Cross(r3.Scale(math.Pi/180, turnDeg), b)
		d.Before = append(d.Before, b)
		d.Diff = append(d.Diff, r3.Add(r3.Add(e, uniform), t))
	}
	return d
}

// The worked example of Benjamini and Hochberg (1995), section 3.2: fifteen
// ordered p-values of a thrombolysis trial; at q = 0.05 the first four are
// rejected, where the Bonferroni bound rejects three.
func TestDiscoveriesWorkedExample(t *testing.T) {
	p := []float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000}
	for i, got := range discoveries(p, 0.05) {
		if want := i < 4; got != want {
			t.Errorf("p-value %d (%g): rejected %v, want %v", i+1, p[i], got, want)
		}
	}
	if got := discoveries([]float64{math.NaN(), 0.001}, 0.05); got[0] || !got[1] {
		t.Errorf("with a NaN: %v", got)
	}
	if got := discoveries(nil, 0.05); len(got) != 0 {
		t.Errorf("of none: %v", got)
	}
}

// Where nothing changed, p-values are uniform and false alarms as rare as
// asked for, whatever is common to all stations.
func TestNothingChanged(t *testing.T) {
	trials := 300
	if testing.Short() {
		trials = 80
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name    string
		uniform r3.Vec
		turn    r3.Vec
	}{
		{"same bench", r3.Vec{}, r3.Vec{}},
		{"shifted by 5 uT", r3.Vec{X: 4, Y: -3, Z: 1}, r3.Vec{}},
		{"turned by 5 degrees", r3.Vec{}, r3.Vec{Z: 5}},
	} {
		alarms, low, n := 0, 0, 0
		for range trials {
			r, err := Compare(t.Context(), bench(rng, 30, c.uniform, c.turn), Options{})
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range r.Stations {
				n++
				if s.P < 0.1 {
					low++
				}
				if s.Significant {
					alarms++
					break
				}
			}
		}
		share := float64(low) / float64(n)
		t.Logf("%s: false alarm in %.3f of surveys; p < 0.1 at %.3f of stations", c.name, float64(alarms)/float64(trials), share)
		// Three standard errors of a rate of 0.05, and of 0.1.
		if most := 0.05 + 3*math.Sqrt(0.05*0.95/float64(trials)); float64(alarms)/float64(trials) > most {
			t.Errorf("%s: %d of %d surveys raise a false alarm, at most %.3f", c.name, alarms, trials, most)
		}
		if math.Abs(share-0.1) > 0.03 {
			t.Errorf("%s: p < 0.1 at %.3f of stations", c.name, share)
		}
	}
}

func TestCommonPartIsRecovered(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	uniform, turn := r3.Vec{X: 2, Y: -1, Z: 0.5}, r3.Vec{X: 1, Y: -2, Z: 4}
	inside, trials := 0, 100
	for range trials {
		d := bench(rng, 40, uniform, turn)
		d.Diff[7] = r3.Add(d.Diff[7], r3.Vec{X: 150}) // a magnet that must not speak for the others
		r, err := Compare(t.Context(), d, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !r.Stations[7].Significant || r.Stations[7].Clean {
			t.Fatal("the changed station is not seen")
		}
		c := r.Common
		for _, q := range [][3]float64{
			{c.UniformUT.X, uniform.X, c.UniformCov[0][0]}, {c.UniformUT.Y, uniform.Y, c.UniformCov[1][1]}, {c.UniformUT.Z, uniform.Z, c.UniformCov[2][2]},
			{c.TurnDeg.X, turn.X, c.TurnCov[0][0]}, {c.TurnDeg.Y, turn.Y, c.TurnCov[1][1]}, {c.TurnDeg.Z, turn.Z, c.TurnCov[2][2]},
		} {
			if math.Abs(q[0]-q[1]) < 1.96*math.Sqrt(q[2]) {
				inside++
			}
		}
	}
	// 600 intervals of 95 per cent: three standard errors are 0.027.
	if share := float64(inside) / float64(6*trials); share < 0.92 || share > 0.98 {
		t.Errorf("%.3f of the 95 per cent intervals hold the truth", share)
	}
}

// Half of all stations changed by far more than the errors: the others stay
// clean, and none of the changed ones is missed.
func TestManyChangedStations(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	d := bench(rng, 31, r3.Vec{X: 3}, r3.Vec{Z: 2})
	for i := range 14 {
		d.Diff[i] = r3.Add(d.Diff[i], r3.Vec{X: 10 * rng.NormFloat64(), Y: 12 + float64(i), Z: -8})
	}
	r, err := Compare(t.Context(), d, Options{})
	if err != nil {
		t.Fatal(err)
	}
	wrong := 0
	for i, s := range r.Stations {
		if i < 14 && !s.Significant {
			t.Errorf("station %d changed unseen", i)
		}
		if i >= 14 && s.Significant {
			wrong++
		}
	}
	if wrong > 2 {
		t.Errorf("%d of 17 unchanged stations are called changed", wrong)
	}
	if math.Abs(r.Common.UniformUT.X-3) > 1.2 {
		t.Errorf("common part %.2f uT, want 3", r.Common.UniformUT.X)
	}
}

// Errors that the stations share, as of a room known badly, raise no alarm
// and do not hide what is local.
func TestSharedErrors(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	alarms := 0
	const trials, n = 100, 20
	for range trials {
		d := bench(rng, n, r3.Vec{}, r3.Vec{})
		shared := 30 * rng.NormFloat64()
		for i := range n {
			d.Diff[i].X += shared * float64(i) / n
			for j := i; j < n; j++ {
				d.Cov.SetSym(3*i, 3*j, d.Cov.At(3*i, 3*j)+900*float64(i*j)/(n*n))
			}
		}
		r, err := Compare(t.Context(), d, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Changed {
			alarms++
		}
	}
	if alarms > 13 { // 0.06 and three standard errors
		t.Errorf("%d of %d surveys raise a false alarm", alarms, trials)
	}
}

// A uniform change cannot be told from another room: it is reported as common
// and no station is called changed.
func TestUniformChangeIsNotSeen(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	r, err := Compare(t.Context(), bench(rng, 25, r3.Vec{X: 5}, r3.Vec{}), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Changed || math.Abs(r.Common.UniformUT.X-5) > 1 {
		t.Errorf("changed %v, common %.2f", r.Changed, r.Common.UniformUT.X)
	}
}

func TestDegenerateInput(t *testing.T) {
	one := Data{Diff: []r3.Vec{{X: 40}}, Before: []r3.Vec{{}}, Cov: mat.NewSymDense(3, []float64{1, 0, 0, 0, 1, 0, 0, 0, 1})}
	r, err := Compare(t.Context(), one, Options{})
	if err != nil || !r.Changed {
		t.Errorf("one station with 40 uT: changed %v, %v", r, err)
	}
	// 40^2/(1+3^2): the prior of the common part is all there is to go by.
	if got := r.Stations[0].ChiSquare; math.Abs(got-160) > 1e-9 {
		t.Errorf("chi-square %g, want 160", got)
	}
	for _, c := range []struct {
		name string
		d    Data
		want error
	}{
		{"none", Data{}, ErrNoStations},
		{"shape", Data{Diff: make([]r3.Vec, 2), Before: make([]r3.Vec, 1), Cov: mat.NewSymDense(6, nil)}, magmath.ErrShape},
		{"nan", Data{Diff: []r3.Vec{{X: math.NaN()}}, Before: make([]r3.Vec, 1), Cov: one.Cov}, magmath.ErrNotFinite},
		{"infinite covariance", Data{Diff: make([]r3.Vec, 1), Before: make([]r3.Vec, 1), Cov: mat.NewSymDense(3, []float64{math.Inf(1), 0, 0, 0, 1, 0, 0, 0, 1})}, magmath.ErrNotFinite},
		{"negative covariance", Data{Diff: make([]r3.Vec, 1), Before: make([]r3.Vec, 1), Cov: mat.NewSymDense(3, []float64{-99, 0, 0, 0, -99, 0, 0, 0, -99})}, magmath.ErrSingular},
	} {
		if _, err := Compare(t.Context(), c.d, Options{}); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
}
