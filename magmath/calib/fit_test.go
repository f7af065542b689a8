package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/levmar"
	"quietmount/magmath/simtest"
)

// The analytic derivatives against central differences, at places with no
// symmetry and far from any optimum.
func TestDerivatives(t *testing.T) {
	rng := testRNG(1)
	for trial := range 50 {
		theta := []float64{3 - 9*rng.Float64(), 8 * rng.NormFloat64(), -5 + rng.NormFloat64(),
			0.2 * rng.NormFloat64(), 0.1 * rng.NormFloat64(), -0.15 * rng.Float64(), 0.1 * rng.NormFloat64(), -0.1, 0.07}
		raw := r3.Vec{X: 31 * rng.NormFloat64(), Y: -22 * rng.NormFloat64(), Z: 17 + 20*rng.NormFloat64()}
		const target = 47
		value := func(th []float64) float64 {
			o := r3.Vec{X: th[0], Y: th[1], Z: th[2]}
			return see(matrixOf(th[3:]), o, raw).residual(target)
		}
		o, m := r3.Vec{X: theta[0], Y: theta[1], Z: theta[2]}, matrixOf(theta[3:])
		grad := make([]float64, nAll)
		see(m, o, raw).derivatives(m, o, raw, target, grad)
		for k := range theta {
			h := 1e-5
			up, down := append([]float64{}, theta...), append([]float64{}, theta...)
			up[k] += h
			down[k] -= h
			want := (value(up) - value(down)) / (2 * h)
			if math.Abs(grad[k]-want) > 1e-6*(1+math.Abs(want)) {
				t.Errorf("trial %d, parameter %d: %g, by differences %g", trial, k, grad[k], want)
			}
		}
	}
}

// coneDirections is the coverage of the table: yaw all round, the plumb line
// even over the cap of the cone. Full sphere for tilt over 90.
func coneDirections(tiltDeg, dipDeg float64) []r3.Vec {
	var out []r3.Vec
	if tiltDeg > 90 {
		const n = 4000
		for i := range n {
			z := 1 - (2*float64(i)+1)/n
			phi := math.Pi * (3 - math.Sqrt(5)) * float64(i)
			rho := math.Sqrt(1 - z*z)
			out = append(out, r3.Vec{X: rho * math.Cos(phi), Y: rho * math.Sin(phi), Z: z})
		}
		return out
	}
	dip := dipDeg * math.Pi / 180
	for yaw := range 24 {
		v := rotate(r3.Vec{X: math.Cos(dip), Z: math.Sin(dip)}, r3.Vec{Z: 1}, 2*math.Pi*float64(yaw)/24)
		for a := range 24 {
			az := 2 * math.Pi * float64(a) / 24
			for k := range 40 {
				out = append(out, rotate(v, r3.Vec{X: math.Cos(az), Y: math.Sin(az)}, math.Acos(1-(1-math.Cos(tiltDeg*math.Pi/180))*(float64(k)+0.5)/40)))
			}
		}
	}
	return out
}

// The information that choice and covariance rest on against Cramer-Rao
// multipliers computed independently (ideal sensor, white noise on each axis):
// standard deviation of the horizontal and the vertical offset times
// sqrt(N)/sigma.
func TestCramerRaoMultipliers(t *testing.T) {
	table := []struct {
		tiltDeg              float64
		parameters           int
		horizontal, vertical float64
	}{
		{180, 3, 1.73, 1.73}, {180, 4, 1.73, 1.73}, {180, 6, 1.73, 1.73}, {180, 9, 1.73, 1.73},
		{45, 3, 2.20, 1.31}, {45, 4, 2.20, 5.12}, {45, 6, 2.20, 38.20}, {45, 9, 7.84, 38.20},
		{30, 3, 2.46, 1.22}, {30, 4, 2.46, 7.63}, {30, 6, 2.46, 94.32}, {30, 9, 15.28, 94.33},
		{20, 3, 2.64, 1.18}, {20, 4, 2.64, 11.47}, {20, 6, 2.64, 220.75}, {20, 9, 26.00, 220.76},
		{10, 3, 2.78, 1.16}, {10, 4, 2.78, 22.76}, {10, 6, 2.78, 898.95}, {10, 9, 54.89, 899.01},
		{5, 3, 2.81, 1.16}, {5, 4, 2.81, 45.80}, {5, 6, 2.81, 3624.13}, {5, 9, 111.71, 3624.49},
	}
	for _, row := range table {
		dirs := coneDirections(row.tiltDeg, 60)
		h, v := crb(t, dirs, 50, row.parameters)
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"horizontal", h, row.horizontal}, {"vertical", v, row.vertical}} {
			// The table has three to six digits; 1 % is room for how finely the cone is
			// cut into directions here.
			if math.Abs(c.got-c.want) > 0.01*c.want {
				t.Errorf("tilt %g, %d parameters, %s: %.2f, table %.2f", row.tiltDeg, row.parameters, c.what, c.got, c.want)
			}
		}
	}
}

// crb is the bound in units of sigma/sqrt(N) for a probe without errors, from
// this package's design.
func crb(t *testing.T, dirs []r3.Vec, strength float64, parameters int) (horizontal, vertical float64) {
	t.Helper()
	v, n := ideal(t, dirs, strength, parameters), float64(len(dirs))
	return math.Sqrt(n * v[0]), math.Sqrt(n * v[2])
}

// ideal is the bound on the variances of the offset with noise of 1 uT.
func ideal(t *testing.T, dirs []r3.Vec, strength float64, parameters int) [3]float64 {
	t.Helper()
	x := make([]r3.Vec, len(dirs))
	weight := make([]float64, len(dirs))
	for i, u := range dirs {
		x[i], weight[i] = r3.Scale(strength, u), 1
	}
	f := &fit{e: make([]float64, nShapes), target: strength, weight: weight, s: 1}
	noise, _, ok := designOf(f, x, 1, [nShapes]float64{}).errorsOf(parameters)
	if !ok {
		t.Fatalf("%d parameters are not told apart", parameters)
	}
	return [3]float64{noise.At(0, 0), noise.At(1, 1), noise.At(2, 2)}
}

// simulations runs fits in a scene and gives, for each of nine parameters, the
// mean and the standard deviation of offset estimates less the truth.
type spreadOf struct {
	mean, sd [3]float64
	bound    [3]float64 // Cramer-Rao, of the very directions shown, root mean square
}

func simulate(t *testing.T, s scene, parameters, runs int, seed uint64, loss loss) spreadOf {
	t.Helper()
	rng := testRNG(seed)
	var sum, sum2, bound2 [3]float64
	for range runs {
		x, dirs := make([]r3.Vec, s.n), make([]r3.Vec, s.n)
		for i := range dirs {
			dirs[i] = s.direction(rng)
		}
		for i, v := range s.along(dirs, rng) {
			x[i] = v.B
		}
		for k, v := range ideal(t, dirs, s.strength, parameters) {
			bound2[k] += v * s.noise * s.noise
		}
		f, ok := problem{x: x, target: s.strength, loss: loss, rounds: 10}.solve(t.Context(), s.offset, make([]float64, parameters-3))
		if !ok {
			t.Fatal("no fit")
		}
		d := r3.Sub(f.o, s.offset)
		for k, v := range [3]float64{d.X, d.Y, d.Z} {
			sum[k] += v
			sum2[k] += v * v
		}
	}
	var out spreadOf
	for k := range 3 {
		n := float64(runs)
		out.mean[k] = sum[k] / n
		out.sd[k] = math.Sqrt((sum2[k] - sum[k]*sum[k]/n) / (n - 1))
		out.bound[k] = math.Sqrt(bound2[k] / n)
	}
	return out
}

// Standard errors over the Cramer-Rao bound of the directions shown, wherever
// that is under 1 uT for every offset. Beyond 1 uT the ratio is only shown.
// The evidence is gathered from more simulations: see evidence_test.go.
func TestEfficiency(t *testing.T) {
	t.Parallel()
	runs := simtest.Trials(40, 200)
	for _, c := range efficiencyCases() {
		row := efficiency(t, c.tilt, c.parameters, runs)
		t.Log(row)
		// The relative standard error of a standard deviation is 1/sqrt(2 runs).
		row.check(t, 0.05+2/math.Sqrt(2*float64(runs)))
	}
}

// Five in a hundred readings off by tens of microtesla cost less than 10 % of
// the standard error.
func TestSpikesCostLittle(t *testing.T) {
	t.Parallel()
	runs := simtest.Trials(100, 1000)
	s := plainScene()
	clean := simulate(t, s, 9, runs, 5, tukey())
	s.spikes, s.spikeUT = 0.05, 60
	spiked := simulate(t, s, 9, runs, 6, tukey())
	slack := 0.10 + 2/math.Sqrt(float64(runs)) // two standard errors of the ratio
	for k := range 3 {
		ratio := spiked.sd[k] / clean.sd[k]
		t.Logf("axis %d: %.4f with spikes, %.4f without, ratio %.3f", k, spiked.sd[k], clean.sd[k], ratio)
		if ratio > 1+slack {
			t.Errorf("axis %d: 5 %% spikes cost %.0f %%", k, 100*(ratio-1))
		}
	}
}

// At partial coverage the fit that forgets |M u| shrinks M along the axis that
// was hardly shown; the weighted one does not.
func TestUnweightedResidualCollapses(t *testing.T) {
	s := plainScene()
	s.tiltDeg, s.noise, s.n = 10, 0.5, 400
	rng := testRNG(7)
	var unweighted, weighted []float64
	for range simtest.Trials(5, 20) {
		x := make([]r3.Vec, s.n)
		for i, v := range s.samples(rng) {
			x[i] = v.B
		}
		naive := func(theta, r, jac []float64) bool {
			o := r3.Vec{X: theta[0], Y: theta[1], Z: theta[2]}
			m := matrixOf(theta[3:])
			if eigenvalues(m)[0] < 1e-4 {
				return false
			}
			for i, v := range x {
				p := see(m, o, v)
				r[i] = p.length - s.strength
				if jac == nil {
					continue
				}
				d := r3.Sub(v, o)
				for k, c := range [3]r3.Vec{column(m, 0), column(m, 1), column(m, 2)} {
					jac[i*nAll+k] = -r3.Dot(p.u, c)
				}
				for j := range nShapes {
					jac[i*nAll+3+j] = r3.Dot(p.u, shapes[j].Apply(d))
				}
			}
			return true
		}
		res, err := levmar.Minimize(t.Context(), naive, make([]float64, nAll), s.n, levmar.Options{MaxIterations: 300})
		if err != nil {
			t.Fatal(err)
		}
		unweighted = append(unweighted, eigenvalues(matrixOf(res.X[3:]))[0])
		f, _ := problem{x: x, target: s.strength, loss: tukey(), rounds: 10}.solve(t.Context(), r3.Vec{}, make([]float64, nShapes))
		weighted = append(weighted, eigenvalues(f.matrix())[0])
	}
	bad, good := median(unweighted), median(weighted)
	t.Logf("smallest gain of M, median: unweighted %.3f, weighted %.3f (truth 1)", bad, good)
	if bad > 0.3 {
		t.Errorf("the unweighted fit kept a smallest gain of %.3f: it was to collapse", bad)
	}
	if good < 0.5 {
		t.Errorf("the weighted fit fell to %.3f", good)
	}
}

// The condition of M is bounded whatever the readings.
func TestConditionBounded(t *testing.T) {
	s := plainScene()
	s.matrix = magmath.Diagonal(1, 1, 20)
	r := calibrated(t, s.samples(testRNG(3)), s.options())
	l := eigenvalues(r.Matrix)
	if l[0] <= 0 || l[2] > maxCondition*l[0]*1.001 {
		t.Errorf("gains of M %.3f", l)
	}
	if r.Accepted {
		t.Errorf("a probe with one axis at a twentieth was accepted: %v", r.Refusals)
	}
}

func TestEigenvalues(t *testing.T) {
	rng := testRNG(11)
	for range 100 {
		m := randomSymmetric(rng)
		var e mat.EigenSym
		if !e.Factorize(mat.NewSymDense(3, []float64{m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2]}), false) {
			t.Fatal("no eigenvalues")
		}
		got, want := eigenvalues(m), e.Values(nil)
		for k := range 3 {
			if math.Abs(got[k]-want[k]) > 1e-7 {
				t.Errorf("%v: %v, gonum %v", m, got, want)
			}
		}
	}
}

func randomSymmetric(rng *rand.Rand) magmath.Mat3 {
	e := make([]float64, nShapes)
	for j := range e {
		e[j] = 0.3 * rng.NormFloat64()
	}
	return matrixOf(e)
}
