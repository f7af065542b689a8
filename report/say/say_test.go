package say

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/sources"
)

func TestListed(t *testing.T) {
	for want, words := range map[string][]string{"": nil, "a": {"a"}, "a and b": {"a", "b"}, "a, b and c": {"a", "b", "c"}} {
		if got := Listed(words); got != want {
			t.Errorf("%v: %q", words, got)
		}
	}
	if got := Words("from x 0, y -3 mm to 20 mm. And more x"); !slices.Equal(got, []string{"from", "x\u00a00,", "y\u00a0-3\u00a0mm", "to", "20\u00a0mm.", "And", "more", "x"}) {
		t.Errorf("split into %q", got)
	}
}

func TestCapital(t *testing.T) {
	for s, want := range map[string]string{"": "", "a b": "A b", "B": "B", "über": "Über", "8 uT": "8 uT", "\xff": "\xff"} {
		if got := Capital(s); got != want {
			t.Errorf("%q became %q, want %q", s, got, want)
		}
	}
}

func TestPlaceWords(t *testing.T) {
	for _, c := range []struct {
		part   string
		offset r3.Vec
		want   string
	}{
		{"hatch magnet", r3.Vec{Y: -18}, "18 mm left of the hatch magnet"},
		{"battery", r3.Vec{X: -12, Z: 40}, "40 mm below and 12 mm behind the battery"},
		{"battery", r3.Vec{X: 12, Y: 9, Z: -8}, "8 mm above, 9 mm right and 12 mm forward of the battery"},
		{"battery", r3.Vec{Z: -60, X: 3}, "60 mm above the battery"},
		{"battery", r3.Vec{X: 2, Y: 2}, "at the battery"},
		{"", r3.Vec{X: -170, Y: 99, Z: 25}, "99 mm right and 170 mm behind the datum"},
	} {
		if got := Place(sources.Nearest{Part: c.part, Offset: c.offset}); got != c.want {
			t.Errorf("%v from %q: %q, want %q", c.offset, c.part, got, c.want)
		}
	}
}

// Nine digits are kept, and rounding twice changes nothing more.
func TestTidy(t *testing.T) {
	for v, want := range map[float64]float64{0: 0, 1: 1, 1.0000000000001: 1, 123456789.123: 123456789, -0.1 - 1e-17: -0.1, 1e300: 1e300, 48.123456789123: 48.1234568} {
		if got := Tidy(v); got != want {
			t.Errorf("%v became %v, want %v", v, got, want)
		}
	}
	rng := rand.New(rand.NewPCG(5, 6))
	for range 2000 {
		v := (rng.Float64() - 0.5) * math.Pow(10, float64(rng.IntN(40)-20))
		got := Tidy(v)
		if math.Abs(got-v) > 1e-8*math.Abs(v) || Tidy(got) != got {
			t.Fatalf("%v became %v, then %v", v, got, Tidy(got))
		}
	}
	if v := Tidy(math.Inf(-1)); !math.IsInf(v, -1) {
		t.Errorf("infinity became %v", v)
	}
}
