package source

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// The quantile of a length against the tables: a standard normal vector's has
// the square root of the chi-square with three degrees of freedom, 7.815 at
// 0.95; along one axis alone the half-normal's 1.960; far from zero the
// normal's mean plus 1.645 standard deviations. And against draws.
func TestUpperLength(t *testing.T) {
	within(t, "at zero", upperLength(r3.Vec{}, magmath.Identity()), math.Sqrt(7.815), 1e-3)
	within(t, "half-normal", upperLength(r3.Vec{}, magmath.Diagonal(4, 0, 0)), 2*1.960, 1e-3)
	within(t, "far", upperLength(r3.Vec{Y: 500}, magmath.Diagonal(9, 4, 9)), 500+1.645*2, 1e-4)
	within(t, "certain", upperLength(r3.Vec{X: 3, Y: 4}, magmath.Mat3{}), 5, 1e-12)
	rng := rand.New(rand.NewPCG(1, 0))
	for _, m := range []r3.Vec{{X: 1, Y: -2, Z: 0.5}, {Z: 3}, {X: 8, Y: 1}} {
		sd := r3.Vec{X: 0.6, Y: 1.4, Z: 0.9}
		lengths := make([]float64, 40000)
		for i := range lengths {
			lengths[i] = r3.Norm(r3.Add(m, r3.Vec{X: sd.X * rng.NormFloat64(), Y: sd.Y * rng.NormFloat64(), Z: sd.Z * rng.NormFloat64()}))
		}
		slices.Sort(lengths)
		// The approximation is good to a per cent, the draws to half of one.
		within(t, "drawn", upperLength(m, magmath.Diagonal(sd.X*sd.X, sd.Y*sd.Y, sd.Z*sd.Z)), lengths[len(lengths)*95/100], 0.015)
	}
}

// The true compass-safe distance of a fitted magnet and of a fitted lead is
// under the bound in 95 of 100 surveys. Of 300, 287 magnets and 299 leads were.
func TestSafeDistanceBoundHolds(t *testing.T) {
	trials := simtest.Trials(16, 60)
	const limit = 0.5
	at := stationsOn(6, 5, 60)
	magnet := Dipole{AtMM: r3.Vec{X: 20, Y: -15, Z: 70}, MomentAm2: r3.Vec{X: 0.02, Y: -0.03, Z: 0.025}}
	path := []r3.Vec{{X: -150, Y: 20, Z: 50}, {X: 150, Y: -30, Z: 50}}
	pair := Pair{PathMM: path, GapMM: 12, CurrentA: 18, Across: r3.Vec{Y: 1, Z: 0.4}}
	truth := PathDistance(path, pair.Circuit().Field, limit)
	held, wider := map[Kind]int{}, 0
	for k := range trials {
		rng := rand.New(rand.NewPCG(uint64(k), 11))
		f, err := Find(t.Context(), readingsOf(at, 1, rng, magnet), []Magnet{{Name: "m", AtMM: r3.Vec{X: 23, Y: -15, Z: 69}}}, nil, Options{SpacingMM: 60})
		if err != nil || len(f.Sources) == 0 {
			t.Fatalf("trial %d: %+v, %v", k, f, err)
		}
		got := f.Sources[0].SafeDistanceUpper95(limit, 0)
		if got >= DipoleDistance(r3.Norm(magnet.MomentAm2), limit) {
			held[KindDipole]++
		}
		if got > f.Sources[0].SafeDistance(limit) {
			wider++
		}
		f, err = Find(t.Context(), readingsOf(at, 1, rng, pair.Circuit()), nil, []NamedLead{{Name: "l", PathMM: path, GapMM: 12, CurrentA: 18}}, Options{SpacingMM: 60, CurrentA: 18, MostLeads: 1})
		if err != nil || len(f.Sources) == 0 {
			t.Fatalf("trial %d: %+v, %v", k, f, err)
		}
		if f.Sources[0].SafeDistanceUpper95(limit, 0) >= truth {
			held[KindLead]++
		}
	}
	t.Logf("of %d bounds hold %v; the lead's true distance is %.0f mm", trials, held, truth)
	slack := 2 * math.Sqrt(0.95*0.05*float64(trials))
	for kind, n := range held {
		if float64(n) < 0.95*float64(trials)-slack {
			t.Errorf("%s: %d of %d bounds hold", kind, n, trials)
		}
	}
	if wider != trials || len(held) != 2 {
		t.Errorf("the bound was over the estimate in %d of %d; kinds %v", wider, trials, held)
	}
	// 10 % more of the strength unknown moves the distance by more.
	c := Fitted{Kind: KindDipole, MomentAm2: r3.Vec{Z: 0.1}, Cov: mat.NewSymDense(6, nil)}
	within(t, "of the strength alone", c.SafeDistanceUpper95(limit, 0.1), DipoleDistance(0.11645, limit), 2e-3)
}
