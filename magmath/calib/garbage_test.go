package calib

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
)

// garbage is readings of no field: each kind has driven some estimator mad.
func garbage(kind int, rng *rand.Rand) []Sample {
	n := 40 + rng.IntN(400)
	size := math.Pow(10, -6+12*rng.Float64())
	out := make([]Sample, n)
	walk := r3.Vec{}
	for i := range out {
		v := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		switch kind {
		case 0: // a cloud
		case 1: // a walk
			walk = r3.Add(walk, v)
			v = walk
		case 2: // two points
			v = r3.Vec{X: float64(i % 2)}
		case 3: // a plane
			v.Z = 0
		case 4: // whole numbers
			v = r3.Vec{X: math.Round(v.X), Y: math.Round(v.Y), Z: math.Round(v.Z)}
		case 5: // heavy tails
			v = r3.Scale(1/max(rng.Float64(), 1e-9), v)
		case 6: // a line
			v = r3.Scale(float64(i), r3.Vec{X: 1, Y: 2, Z: 3})
		case 7: // mostly one point
			if i%20 != 0 {
				v = r3.Vec{X: 1, Y: 1, Z: 1}
			}
		}
		out[i] = Sample{TS: float64(i) / 20, B: r3.Scale(size, v)}
	}
	return out
}

// Whatever comes in, an answer comes out that can be written down: no panic,
// no NaN, and a reason with every refusal.
func TestGarbage(t *testing.T) {
	runs := simtest.Trials(24, 120)
	rng := testRNG(99)
	for i := range runs {
		kind := i % 8
		o := DefaultOptions()
		if i%3 > 0 {
			o.ReferenceUT, o.Scale = 50, ScaleFrom(i%3)
		}
		if i%5 == 0 {
			o.DipDeg, o.TiltDeg = 60, 15
		}
		r := calibrated(t, garbage(kind, rng), o)
		if r.Accepted != (len(r.Refusals) == 0) || r.Accepted == r.Chosen.IsZero() {
			t.Errorf("run %d, kind %d: accepted %v, chosen %v, %d refusals", i, kind, r.Accepted, r.Chosen, len(r.Refusals))
		}
		if r.Accepted && kind != 4 {
			t.Errorf("run %d, kind %d was accepted: %v", i, kind, r.Refusals)
		}
		if r.Parameters == 0 {
			continue
		}
		if _, err := json.Marshal([]any{r.OffsetUT, r.Matrix, r.OffsetStandardUT, r.MatrixStandard, r.Covariance, r.ResidualUT, r.ErrorUT, r.FieldUT, r.Ratio, r.SphereCovered}); err != nil {
			t.Errorf("run %d, kind %d: %v", i, kind, err)
		}
		if l := eigenvalues(r.Matrix); !(l[0] > 0) {
			t.Errorf("run %d, kind %d: M has gains %v", i, kind, l)
		}
	}
	huge := garbage(0, rng)
	for i := range huge {
		huge[i].B = r3.Scale(1e300, huge[i].B)
	}
	if r := calibrated(t, huge, DefaultOptions()); r.Accepted {
		t.Errorf("a cloud of 1e300 was accepted: %v", r.Refusals)
	}
}

// endsAfter is a context that ends after a number of looks at it.
type endsAfter struct {
	context.Context
	looks *int
}

func (c endsAfter) Err() error {
	if *c.looks--; *c.looks < 0 {
		return context.Canceled
	}
	return nil
}

// Whenever the context ends, its error comes out.
func TestCalibrateEndsWithItsContext(t *testing.T) {
	rng := testRNG(41)
	s := plainScene()
	s.n, s.lag1 = 600, 0.5
	steady := s.along(tumble(s.n, 9), rng)
	changed := append([]Sample{}, steady...)
	for i := range changed[300:] {
		changed[300+i].B.X += 8
	}
	for _, samples := range [][]Sample{nil, steady, changed} {
		for looks := 0; ; looks += 1 + looks/2 {
			_, err := Calibrate(endsAfter{t.Context(), new(looks)}, samples, s.options())
			if err == nil {
				break
			}
			if err != context.Canceled {
				t.Fatalf("ended after %d looks: %v", looks, err)
			}
		}
	}
}
