package magmath

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// The cases follow from the definition.
func TestMedian(t *testing.T) {
	for _, tt := range []struct {
		name string
		x    []float64
		want float64
	}{
		{"one", []float64{3}, 3},
		{"odd", []float64{9, -1, 4}, 4},
		{"even", []float64{9, -1, 4, 5}, 4.5},
		{"near the end of the range", []float64{math.MaxFloat64, math.MaxFloat64}, math.MaxFloat64},
	} {
		if got := Median(tt.x); got != tt.want {
			t.Errorf("%s: got %v, want %v", tt.name, got, tt.want)
		}
	}
	if got := Median(nil); !math.IsNaN(got) {
		t.Errorf("none: got %v, want NaN", got)
	}
	b := []r3.Vec{{X: 1, Y: 9, Z: -3}, {X: 5, Y: 2, Z: -1}, {X: 3, Y: 4, Z: -2}}
	if got, want := MedianVec(b), (r3.Vec{X: 3, Y: 4, Z: -2}); got != want {
		t.Errorf("vectors: got %v, want %v", got, want)
	}
	if b[0] != (r3.Vec{X: 1, Y: 9, Z: -3}) {
		t.Error("the vectors were reordered")
	}
}

// The cases follow from the definition.
func TestQuantile(t *testing.T) {
	for p, want := range map[float64]float64{0: 1, 0.24: 1, 0.25: 2, 0.5: 3, 0.99: 4, 1: 4} {
		if got := Quantile([]float64{4, 1, 3, 2}, p); got != want {
			t.Errorf("%g: %g, want %g", p, got, want)
		}
	}
	if got := Quantile(nil, 0.5); !math.IsNaN(got) {
		t.Errorf("of nothing: %g", got)
	}
}
