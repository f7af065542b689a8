package evaluate_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/sim/trial"
)

// Without a background, magnitudes make a map whose intervals hold: against
// the simulated truth, where the disturbance is not larger than the field.
func TestMagnitudesMakeAMap(t *testing.T) {
	inside, all, off, size := 0.0, 0.0, 0.0, 0.0
	for seed := range uint64(simtest.Trials(3, 6)) {
		drawn, err := trial.Random(1500+seed, trial.Families()[seed%4], false)
		if err != nil {
			t.Fatal(err)
		}
		w := drawn.World
		f := evaluatetest.Evaluate(t, w.Craft, evaluatetest.TrialRuns(drawn, true)[1:2])
		if f.Basis != evaluate.BasisMagnitude || f.Map == nil || f.Map.Steady == nil {
			t.Fatalf("seed %d: basis %s, map %v", seed, f.Basis, f.Map)
		}
		for _, s := range f.Stations {
			if s.Steady != nil || s.SteadyError != nil {
				t.Fatalf("%s has a vector without a background", s.Station.Name)
			}
			p := r3.Add(s.Sensor, r3.Vec{X: 11, Y: -7})
			truth := w.Steady(p)
			if r3.Norm(truth) > 40 {
				continue
			}
			mean, cov := f.Map.Steady.At(p)
			d := r3.Sub(mean, truth)
			off, size = off+r3.Norm2(d), size+r3.Norm2(truth)
			for k, x := range []float64{d.X, d.Y, d.Z} {
				all++
				if math.Abs(x) < 1.96*math.Sqrt(cov[k][k]) {
					inside++
				}
			}
		}
	}
	t.Logf("inside %.1f %% of %.0f; error %.2f of %.2f uT", 100*inside/all, all, math.Sqrt(off/all), math.Sqrt(size/all))
	if c := inside / all; c < 0.92 || c > 0.995 {
		t.Errorf("%.1f %% of the components inside their 95 %% interval", 100*c)
	}
	if off > 0.5*size {
		t.Errorf("the map misses %.2f uT where %.2f are to be found", math.Sqrt(off/all), math.Sqrt(size/all))
	}
}
