package dwell

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func TestFullScale(t *testing.T) {
	for _, tt := range []struct {
		name     string
		rangeUT  float64
		off, on  int // readings of the part, of which
		offAt    int // stand at the limit on z
		onAt     int // stand at the limit on x
		unusable bool
	}{
		{"one of twenty, load off", 800, 20, 0, 1, 0, false},
		{"two of 39", 800, 39, 0, 2, 0, true},
		{"two of 40", 800, 40, 0, 2, 0, false},
		{"a short time on, at the limit", 800, 380, 20, 0, 2, true},
		{"a short time off, at the limit", 800, 20, 380, 2, 0, true},
		{"no range stated", 0, 10, 10, 10, 10, false},
		{"nothing read", 800, 0, 0, 0, 0, false},
	} {
		f := FullScale{RangeUT: tt.rangeUT}
		add := func(level Level, n, limit int, at r3.Vec) {
			for i := range n {
				b := r3.Vec{X: 20, Y: 783, Z: -783}
				if i < limit {
					b = at
				}
				f.Add(b, level)
			}
		}
		add(Off, tt.off, tt.offAt, r3.Vec{Z: -785})
		add(On, tt.on, tt.onAt, r3.Vec{X: 801})
		worst := f.Worst()
		if worst.Unusable() != tt.unusable {
			t.Errorf("%s: %+v, unusable %t", tt.name, worst, worst.Unusable())
		}
		axis, last := 2, -785.0
		if tt.onAt > 0 {
			axis, last = 0, 801
		}
		if tt.unusable && (worst.Worst() != axis || worst.LastUT[axis] != last) {
			t.Errorf("%s: axis %d, %v", tt.name, worst.Worst(), worst.LastUT)
		}
	}
}

// A capture with as many readings at the limit as the rule lets pass still
// tells the field: off by a fraction of its own standard error.
func TestSpareReadingsDoNotMoveTheMean(t *testing.T) {
	const limit, n, trials = 784.0, 60, 400
	rng := rand.New(rand.NewPCG(31, 31))
	sum, variance, used := 0.0, 0.0, 0
	for range trials {
		f := FullScale{RangeUT: 800}
		var s Series
		truth := limit - 1.645
		for i := range n {
			x := min(truth+rng.NormFloat64(), limit)
			s.TS, s.B = append(s.TS, float64(i)/20), append(s.B, r3.Vec{X: x, Y: rng.NormFloat64(), Z: rng.NormFloat64()})
			f.Add(s.B[i], Unknown)
		}
		if f.Worst().Unusable() {
			continue
		}
		e, err := Locate(t.Context(), s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		used++
		sum, variance = sum+e.Mean.X-truth, variance+e.Cov[0][0]
	}
	bias, se := sum/float64(used), math.Sqrt(variance/float64(used))
	t.Logf("%d of %d usable, bias %.3f of a standard deviation of one reading, standard error %.3f", used, trials, bias, se)
	// Those with few at the limit by chance are the low ones, so the bias is
	// more than the 0.02 of the censoring alone.
	if used < trials/4 || bias < -se/2 || bias > 0.02 {
		t.Errorf("bias %g in %d", bias, used)
	}
}
