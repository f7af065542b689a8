package dwell

import (
	"math"
	"testing"
)

// Both ways to the cosine sums against each cosine on its own, over one block
// and over several. Errors are in parts of the root of the sum of squares, the
// size of a sum: some roundings for the chirp, n^2 of them for the recurrence
// of the direct sums.
func TestCosineSums(t *testing.T) {
	for _, n := range []int{5, 64, 1999, 5003, 20000} {
		x := columns(newAR1(62, 0.6).still(n, 50, vec([3]float64{}), 1).B)
		count := min(n-1, int(math.Round(0.6*math.Pow(float64(n), 2.0/3))))
		direct, chirp := directCosines(x, count), chirpCosines(t.Context(), x, count)
		if len(direct) != count || len(chirp) != count {
			t.Fatalf("%d and %d sums, want %d", len(direct), len(chirp), count)
		}
		for _, j := range []int{1, 2, count / 2, count} {
			for k := range 3 {
				want := 0.0
				for i, v := range x[k] {
					want += v * math.Cos(math.Pi/2*float64(j*(2*i+1)%(4*n))/float64(n)) // the remainder keeps the phase exact
				}
				size := math.Sqrt(squares(x[k]))
				between(t, "direct sum, error", (direct[j-1][k]-want)/size, -1e-16*float64(n*n), 1e-16*float64(n*n))
				between(t, "chirp sum, error", (chirp[j-1][k]-want)/size, -1e-12, 1e-12)
			}
		}
	}
}
