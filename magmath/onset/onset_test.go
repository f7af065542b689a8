package onset

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// walk fabricates two runs over places of different fields, with a base between,
// read by a hand of 1.5 degrees and a sensor of 0.1 uT, with a drift of each run. The
// readings from index from on, to the end of the second run, pass through change.
func walk(rng *rand.Rand, places, from int, change func(r3.Vec) r3.Vec) []Reading {
	normal := func(sd float64) r3.Vec {
		return r3.Vec{X: sd * rng.NormFloat64(), Y: sd * rng.NormFloat64(), Z: sd * rng.NormFloat64()}
	}
	fields := make([]r3.Vec, places)
	for i := range fields {
		fields[i] = r3.Add(r3.Vec{X: 20, Z: 45}, normal(8))
	}
	var out []Reading
	for run := range 2 {
		drift := normal(0.5)
		for i, b := range fields {
			base := i%8 == 0
			if base {
				b = fields[0]
			}
			true3 := r3.Add(b, drift)
			tilt := normal(1.5 * math.Pi / 180)
			r := Reading{
				B: r3.Add(r3.Add(true3, r3.Cross(tilt, true3)), normal(0.1)), Cov: magmath.Diagonal(.01, .01, .01),
				Place: i, Run: run, TS: 15 * float64(i), Firm: base,
			}
			if base {
				r.Place = 0
			}
			if len(out) >= from {
				r.B = change(r.B)
			}
			out = append(out, r)
		}
	}
	return out
}

func same(b r3.Vec) r3.Vec { return b }

func TestFindTellsWhereAndHowMuch(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	const places, from = 32, 45
	r := Find(t.Context(), walk(rng, places, from, func(b r3.Vec) r3.Vec { return r3.Scale(1.1, b) }), Options{})
	if r.Ratio.P > 1e-4 || math.Abs(r.Ratio.Ratio-1.1) > 0.02 || r.Ratio.From != from || r.Ratio.To != 2*places {
		t.Errorf("a ratio of 1.1 from %d on: %+v", from, r.Ratio)
	}
	if r.Turn.P < 1e-3 {
		t.Errorf("a ratio looks like a turn: %+v", r.Turn)
	}
	quarter := r3.NewRotation(math.Pi/2, r3.Vec{Z: 1})
	r = Find(t.Context(), walk(rng, places, from, quarter.Rotate), Options{})
	if r.Turn.P > 1e-4 || math.Abs(r.Turn.TurnDeg-90) > 4 || r.Turn.From != from {
		t.Errorf("a quarter of a turn from %d on: %+v", from, r.Turn)
	}
	if got := r.Turn.Turn.Apply(r3.Vec{X: 1}); r3.Norm(r3.Sub(got, r3.Vec{Y: 1})) > 0.1 {
		t.Errorf("it turns x to %v", got)
	}
}

// Changes that are none are found in no more walks than their probability says.
func TestFindHardlyFindsWhatIsNotThere(t *testing.T) {
	n := simtest.Trials(150, 3000)
	rng := rand.New(rand.NewPCG(6, 1))
	ratio, turn := 0, 0
	for range n {
		r := Find(t.Context(), walk(rng, 24, 99, same), Options{})
		if r.Ratio.P < 0.02 {
			ratio++
		}
		if r.Turn.P < 0.02 {
			turn++
		}
	}
	t.Logf("of %d walks: ratio in %d, turn in %d", n, ratio, turn)
	limit := distuv.Binomial{N: float64(n), P: 0.02}
	for _, k := range []int{ratio, turn} {
		if 1-limit.CDF(float64(k)-1) < 0.005 {
			t.Errorf("%d of %d walks, more than two per cent explains", k, n)
		}
	}
}

func TestFindComparesNothingThatWasReadOnce(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	all := walk(rng, 12, 99, same)
	for i := range all {
		all[i].Place = i
	}
	r := Find(t.Context(), all, Options{})
	if r.Ratio.P != 1 || r.Turn.P != 1 || r.Compared[0] {
		t.Errorf("places read once: %+v", r)
	}
	if r := Find(t.Context(), nil, Options{}); r.Ratio.P != 1 || len(r.Compared) != 0 {
		t.Errorf("nothing: %+v", r)
	}
}

func TestAnEndedContextEndsTheSearch(t *testing.T) {
	ctx, end := context.WithCancel(t.Context())
	end()
	rng := rand.New(rand.NewPCG(5, 5))
	r := Find(ctx, walk(rng, 24, 99, func(b r3.Vec) r3.Vec { return b }), Options{})
	if r.Ratio.P != 1 || r.Turn.P != 1 {
		t.Errorf("an ended search found %+v", r)
	}
}
