package heading

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// ironAndMagnet is the field 70 mm beside and 40 mm above a magnet and a ball
// of soft iron, nose at psi. A ball of radius a and high permeability takes the
// moment 4 pi a^3 B/mu0 (Jackson, Classical Electrodynamics, sec. 5.11), so
// that its field is that of a dipole in the field's own direction.
func ironAndMagnet(noseDeg float64) (permanent, induced r3.Vec) {
	const h, z, radius = 18, 45, 22
	sin, cos := math.Sincos(noseDeg * math.Pi / 180)
	at := r3.Vec{X: 70, Y: -15, Z: -40}
	ball := func(b r3.Vec) r3.Vec { // mu0/(4 pi) (3 (m.u)u - m)/r^3 with mu0 m/(4 pi) = a^3 B
		r := r3.Norm(at)
		u := r3.Scale(1/r, at)
		return r3.Scale(math.Pow(radius/r, 3), r3.Sub(r3.Scale(3*r3.Dot(b, u), u), b))
	}
	magnet := r3.Vec{X: 6, Y: -11, Z: 3}
	return r3.Add(magnet, ball(r3.Vec{Z: z})), ball(r3.Vec{X: h * cos, Y: -h * sin})
}

func TestPermanentSplitsIronFromMagnet(t *testing.T) {
	for _, noses := range [][]float64{{0, 180}, {37, 217}, {37, -143}, {0, 120, 240}, {10, 100, 190, 280}} {
		var at []Turned
		for _, n := range noses {
			p, i := ironAndMagnet(n)
			at = append(at, Turned{n, r3.Add(p, i), magmath.Identity()})
		}
		wantP, wantI := ironAndMagnet(noses[0])
		s, err := Permanent(at)
		// Exact but for rounding.
		if err != nil || r3.Norm(r3.Sub(s.Permanent, wantP)) > 1e-9 || r3.Norm(r3.Sub(s.Induced, wantI)) > 1e-9 || s.NoseDeg != noses[0] {
			t.Errorf("%v: %.3f and %.3f, want %.3f and %.3f: %v", noses, s.Permanent, s.Induced, wantP, wantI, err)
		}
	}
}

func TestPermanentRefuses(t *testing.T) {
	bad := Turned{180, r3.Vec{X: math.NaN()}, magmath.Identity()}
	one := Turned{0, r3.Vec{X: 3}, magmath.Identity()}
	at := func(noses ...float64) (out []Turned) {
		for _, n := range noses {
			out = append(out, Turned{n, r3.Vec{Y: 1}, magmath.Identity()})
		}
		return out
	}
	for name, list := range map[string][]Turned{
		"nothing": nil, "one": {one}, "not a number": {one, bad}, "the same": at(40, 40), "a quarter": at(0, 90),
		"all to one side": at(0, 15, 30, 45), "infinite": {one, {math.Inf(1), r3.Vec{}, magmath.Identity()}},
	} {
		if s, err := Permanent(list); !errors.Is(err, ErrOneDirection) {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
	}
}

// The covariances hold: 95 % of the regions contain the truth, and a turn that
// misses 180 degrees by some is allowed for.
func TestPermanentCoverage(t *testing.T) {
	limit := distuv.ChiSquared{K: 3}.Quantile(0.95)
	const runs = 2000
	rng := rand.New(rand.NewPCG(3, 0))
	for _, c := range []struct {
		noses     []float64
		low, high float64 // with 2000 runs a share of 0.95 has a standard error of 0.005
	}{
		{[]float64{20, 200}, 0.935, 0.965},
		{[]float64{0, 90, 180, 270}, 0.935, 0.965},
		{[]float64{0, 125, 250}, 0.935, 0.965},
		{[]float64{20, 188}, 0.92, 1},
	} {
		inP, inI := 0, 0
		wantP, wantI := ironAndMagnet(c.noses[0])
		for range runs {
			var at []Turned
			for k, n := range c.noses {
				p, i := ironAndMagnet(n)
				sd := r3.Vec{X: 0.4, Y: 0.7 + 0.2*float64(k), Z: 0.3}
				noise := r3.Vec{X: sd.X * rng.NormFloat64(), Y: sd.Y * rng.NormFloat64(), Z: sd.Z * rng.NormFloat64()}
				at = append(at, Turned{n, r3.Add(r3.Add(p, i), noise), magmath.Diagonal(sd.X*sd.X, sd.Y*sd.Y, sd.Z*sd.Z)})
			}
			s, err := Permanent(at)
			if err != nil {
				t.Fatal(err)
			}
			if mahalanobis(r3.Sub(s.Permanent, wantP), s.PermanentCov) <= limit {
				inP++
			}
			if mahalanobis(r3.Sub(s.Induced, wantI), s.InducedCov) <= limit {
				inI++
			}
		}
		for what, in := range map[string]int{"permanent": inP, "induced": inI} {
			share := float64(in) / runs
			t.Logf("%v %s: %.3f hold", c.noses, what, share)
			if share < c.low || share > c.high {
				t.Errorf("%v: %.3f of the 95 %% regions of the %s part hold", c.noses, share, what)
			}
		}
	}
}

func mahalanobis(d r3.Vec, cov magmath.Mat3) float64 {
	var x mat.VecDense
	v := mat.NewVecDense(3, []float64{d.X, d.Y, d.Z})
	m := mat.NewDense(3, 3, []float64{cov[0][0], cov[0][1], cov[0][2], cov[1][0], cov[1][1], cov[1][2], cov[2][0], cov[2][1], cov[2][2]})
	if x.SolveVec(m, v) != nil {
		return math.Inf(1)
	}
	return mat.Dot(v, &x)
}
