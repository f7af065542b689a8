package draw

import (
	"math"
	"slices"
	"testing"
)

// Source: rows of the published table of cividis other than those that the
// colours are interpolated between, as carried by matplotlib 3,
// lib/matplotlib/_cm_listed.py, CC0. Three steps of 255 cannot be seen.
func TestCividis(t *testing.T) {
	for _, c := range []struct {
		row     int
		r, g, b float64
	}{
		{0, 0.000000, 0.135112, 0.304751},
		{8, 0.000000, 0.157932, 0.357521},
		{27, 0.058378, 0.206629, 0.439531},
		{47, 0.190303, 0.261644, 0.426329},
		{70, 0.287065, 0.324103, 0.423373},
		{127, 0.485141, 0.482451, 0.470384},
		{150, 0.570607, 0.549695, 0.469593},
		{170, 0.648222, 0.610553, 0.454801},
		{190, 0.728334, 0.674107, 0.427554},
		{210, 0.811054, 0.740801, 0.385198},
		{230, 0.896818, 0.811030, 0.320982},
		{250, 0.987293, 0.884718, 0.213336},
		{255, 0.995737, 0.909344, 0.217772},
	} {
		got := Cividis(float64(c.row) / 255)
		for i, v := range [3][2]float64{{float64(got.R), c.r}, {float64(got.G), c.g}, {float64(got.B), c.b}} {
			if math.Abs(v[0]-255*v[1]) > 3.5 {
				t.Errorf("row %d channel %d is %.0f, want %.1f", c.row, i, v[0], 255*v[1])
			}
		}
	}
}

// lightness is CIE L* of an sRGB colour.
// Source: IEC 61966-2-1 (sRGB) and CIE 15 (L*).
func lightness(r, g, b uint8) float64 {
	linear := func(v uint8) float64 {
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	y := 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
	if y <= 216./24389 {
		return y * 24389 / 27
	}
	return 116*math.Cbrt(y) - 16
}

// In grey print a larger value must be darker.
func TestRampDarkensWithDisturbance(t *testing.T) {
	r := NewRamp([]float64{0.3, 0.5, 4, 20, 60}, 5)
	last := 101.0
	for i := range 200 {
		v := r.low * math.Pow(r.high/r.low, float64(i)/199)
		c := Cividis(1 - r.share(v))
		l := lightness(c.R, c.G, c.B)
		if l > last+0.3 { // a step of 8-bit colour
			t.Fatalf("at %.3g the lightness rises to %.2f from %.2f", v, l, last)
		}
		last = l
	}
	quiet, loud := Cividis(1-r.share(r.low)), Cividis(1-r.share(r.high))
	if l := lightness(quiet.R, quiet.G, quiet.B) - lightness(loud.R, loud.G, loud.B); l < 60 {
		t.Errorf("the ends differ by %.0f in lightness, want 60 or more", l)
	}
}

func TestStep125(t *testing.T) {
	for _, c := range []struct{ v, floor, ceil float64 }{
		{1, 1, 1}, {1.5, 1, 2}, {2, 2, 2}, {3, 2, 5}, {5, 5, 5}, {7, 5, 10}, {9.99, 5, 10},
		{10, 10, 10}, {0.3, 0.2, 0.5}, {0.1, 0.1, 0.1}, {0.07, 0.05, 0.1}, {1234, 1000, 2000}, {0.002, 0.002, 0.002},
	} {
		if got := Step125(c.v, math.Floor); got != c.floor {
			t.Errorf("below %v: %v, want %v", c.v, got, c.floor)
		}
		if got := Step125(c.v, math.Ceil); got != c.ceil {
			t.Errorf("above %v: %v, want %v", c.v, got, c.ceil)
		}
	}
}

func TestNewRamp(t *testing.T) {
	even := func(low, high float64) []float64 {
		out := make([]float64, 1000)
		for i := range out {
			out[i] = low * math.Pow(high/low, float64(i)/999)
		}
		return out
	}
	for _, c := range []struct {
		name        string
		values      []float64
		must        float64
		low, high   float64
		under, over bool
	}{
		{name: "nothing", low: 0.1, high: 1},
		{name: "only a limit", must: 5, low: 1, high: 10},
		{name: "one value", values: []float64{3}, low: 0.5, high: 5},
		{name: "two decades", values: even(0.3, 30), must: 5, low: 0.2, high: 50},
		{name: "all over budget", values: even(40, 180), must: 5, low: 2, high: 200},
		{name: "eight decades", values: even(1e-3, 1e5), must: 5, under: true},
		{name: "a lone peak", values: append(even(1, 8), 900), must: 5, low: 1, high: 10, over: true},
	} {
		r := NewRamp(c.values, c.must)
		if c.high > 0 && (r.low != c.low || r.high != c.high) {
			t.Errorf("%s: %v to %v, want %v to %v", c.name, r.low, r.high, c.low, c.high)
		}
		if r.under != c.under || r.over != c.over {
			t.Errorf("%s: under %v, over %v", c.name, r.under, r.over)
		}
		if q := r.high / r.low; q < 9.99 || q > 1000.1 {
			t.Errorf("%s: spans a factor of %v", c.name, q)
		}
		if !slices.IsSorted(r.Ticks) || r.Ticks[0] != r.low || r.Ticks[len(r.Ticks)-1] != r.high {
			t.Errorf("%s: ticks %v", c.name, r.Ticks)
		}
	}
}
