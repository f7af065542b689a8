package swing

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

func TestSteadyPromise(t *testing.T) {
	// Chi square of three degrees of freedom: 7.815 is its 0.95 quantile
	// (NIST/SEMATECH e-Handbook, table 1.3.6.7.4), so three standard
	// deviations of 1.614 each are just at five per cent.
	s := SteadyPromise{Predicted: r3.Vec{X: 10, Y: -4, Z: 2}, PredictedCov: magmath.Diagonal(0.5, 0.5, 0.5), FoundCov: magmath.Diagonal(0.25, 0.25, 0.25), InducedUT: 0.5}
	one := math.Sqrt(7.815 / 3)
	s.Found = r3.Add(s.Predicted, r3.Vec{X: one, Y: -one, Z: one})
	if k := s.Compare(); math.Abs(k.PValue-0.05) > 1e-4 || math.Abs(k.OffUT-math.Sqrt(7.815)) > 1e-9 {
		t.Errorf("%+v", k)
	}
	rng := rand.New(rand.NewPCG(3, 0))
	kept, n := 0, 4000
	for range n {
		s.Found = r3.Add(s.Predicted, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		if s.Compare().Kept {
			kept++
		}
	}
	if share := float64(kept) / float64(n); math.Abs(share-0.95) > 4*math.Sqrt(0.0475/float64(n)) {
		t.Errorf("%.3f of true promises are called kept", share)
	}
	s.Found = r3.Add(s.Predicted, r3.Vec{X: 8})
	if k := s.Compare(); k.Kept || k.PValue > 1e-6 {
		t.Errorf("8 uT off: %+v", k)
	}
	if k := (SteadyPromise{Found: r3.Vec{X: 1}}).Compare(); k.Kept || !math.IsNaN(k.PValue) {
		t.Errorf("no covariance: %+v", k)
	}
}
