package change

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
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

// places puts stations on a grid of 45 mm, eight in a row.
func places(n int) []r3.Vec {
	var out []r3.Vec
	for i := range n {
		out = append(out, r3.Vec{X: 45 * float64(i%8), Y: 45 * float64(i/8)})
	}
	return out
}

// dipole is the field of a dipole, uT, places in mm.
func dipole(p, at, momentAm2 r3.Vec) r3.Vec {
	r := r3.Sub(p, at)
	d := r3.Norm(r)
	u := r3.Scale(1/d, r)
	return r3.Scale(1e8/(d*d*d), r3.Sub(r3.Scale(3*r3.Dot(momentAm2, u), u), momentAm2))
}

// With equal weights the sum is chi-square times the weight; with two unequal ones
// its distribution is integrated by brute force.
func TestWeightedChiSquares(t *testing.T) {
	for _, k := range []int{1, 3, 20} {
		weights := make([]float64, k)
		for i := range weights {
			weights[i] = 0.7
		}
		c := distuv.ChiSquared{K: float64(k)}
		for _, p := range []float64{0.5, 0.1, 0.01, 1e-4} {
			got := weightedChiSquares(weights, 0.7*c.Quantile(1-p))
			if math.Abs(got/p-1) > 0.1 {
				t.Errorf("%d equal weights: %g, want %g", k, got, p)
			}
		}
	}
	for _, x := range []float64{4, 4.0001, 15, 30} {
		want, parts := 0.0, 4000
		one := distuv.ChiSquared{K: 1}
		for i := range parts {
			a := one.Quantile((float64(i) + 0.5) / float64(parts))
			want += one.Survival(x - 3*a)
		}
		want /= float64(parts)
		if got := weightedChiSquares([]float64{3, 1}, x); math.Abs(got/want-1) > 0.1 {
			t.Errorf("weights 3 and 1 over %g: %g, want %g", x, got, want)
		}
	}
	if got := weightedChiSquares([]float64{1}, 0); got != 1 {
		t.Errorf("over 0: %g", got)
	}
}

// The overall test is exact where nothing changed, and finds a magnet too deep to
// show at single stations.
func TestOverall(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	const n = 48
	trials := simtest.Trials(60, 600)
	at := places(n)
	magnet, moment := r3.Vec{X: 160, Y: 110, Z: 130}, r3.Vec{Z: 0.05}
	low, named, found := 0, 0, 0
	for range trials {
		d := bench(rng, n, r3.Vec{X: 1}, r3.Vec{Z: 2})
		d.At = at
		r, err := Compare(t.Context(), d, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.OverallP < 0.1 {
			low++
		}
		for i, p := range at {
			d.Diff[i] = r3.Add(d.Diff[i], dipole(p, magnet, moment))
		}
		if r, err = Compare(t.Context(), d, Options{}); err != nil {
			t.Fatal(err)
		}
		for _, s := range r.Stations {
			if s.Significant {
				named++
				break
			}
		}
		if r.OverallP < overallP {
			found++
		}
	}
	t.Logf("p < 0.1 in %d of %d; a deep magnet is found in %d, at stations in %d", low, trials, found, named)
	// Two depths of one field are less than two tests: Bonferroni is on the safe side.
	if most := 0.1 + 3*math.Sqrt(0.09/float64(trials)); float64(low)/float64(trials) > most || low == 0 {
		t.Errorf("p < 0.1 in %d of %d", low, trials)
	}
	if 10*found < 9*trials || found < named {
		t.Errorf("a deep magnet is found in %d of %d, at stations in %d", found, trials, named)
	}
}

// A probe set down far beside the mark changes one station along its gradient: that is
// named a slip. A change across the gradient, or one larger than any slip, is a change.
func TestLongSlips(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	const n = 40
	trials := 300
	if testing.Short() {
		trials = 80
	}
	slip := r3.Vec{X: 6} // uT in 5 mm
	at := places(n)
	data := func() Data {
		d := bench(rng, n, r3.Vec{}, r3.Vec{})
		d.At = at
		for range n {
			d.Slips = append(d.Slips, magmath.Outer(slip, slip))
		}
		return d
	}
	alarms, named := 0, 0
	for range trials {
		d := data()
		for i := range d.Diff {
			if i != 3 && rng.Float64() < 0.1 { // 10 mm one way or the other
				d.Diff[i] = r3.Add(d.Diff[i], r3.Scale(2*math.Cos(2*math.Pi*rng.Float64()), slip))
			}
		}
		d.Diff[3] = r3.Add(d.Diff[3], r3.Scale(2, slip))
		r, err := Compare(t.Context(), d, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Changed {
			alarms++
		}
		if r.Stations[3].Slip {
			named++
		}
	}
	t.Logf("false alarm in %d of %d; a slip is named in %d", alarms, trials, named)
	// A rate of 0.05 and three standard errors.
	if most := 0.05 + 3*math.Sqrt(0.05*0.95/float64(trials)); float64(alarms)/float64(trials) > most {
		t.Errorf("false alarm in %d of %d", alarms, trials)
	}
	if 10*named < 9*trials {
		t.Errorf("a slip is named in %d of %d", named, trials)
	}
	for _, change := range []r3.Vec{{Y: 12}, {X: 40}} {
		d := data()
		d.Diff[3] = change
		r, err := Compare(t.Context(), d, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if s := r.Stations[3]; !s.Significant || s.Slip {
			t.Errorf("%v: %+v", change, s)
		}
	}
}

// A factor of the amperes that is common to a run is no change.
func TestCommonFactor(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	const n, sd = 30, 0.07
	alarms, trials := 0, 100
	for range trials {
		d := bench(rng, n, r3.Vec{}, r3.Vec{})
		factor := sd * rng.NormFloat64()
		for i, b := range d.Before {
			d.Diff[i] = r3.Add(d.Diff[i], r3.Scale(factor, b))
			for j, q := range d.Before[i:] {
				magmath.AddBlock(d.Cov, 3*i, 3*(i+j), outer(b, q, sd*sd))
			}
		}
		d.At = places(n)
		r, err := Compare(t.Context(), d, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Changed {
			alarms++
		}
	}
	if alarms > 11 { // 0.05 and three standard errors
		t.Errorf("%d of %d raise a false alarm", alarms, trials)
	}
}

func outer(a, b r3.Vec, f float64) magmath.Mat3 {
	x, y := [3]float64{a.X, a.Y, a.Z}, [3]float64{b.X, b.Y, b.Z}
	var m magmath.Mat3
	for i := range 3 {
		for j := range 3 {
			m[i][j] = f * x[i] * y[j]
		}
	}
	return m
}
