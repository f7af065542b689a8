package change

import (
	"cmp"
	"math"
	"slices"
)

// Discoveries marks the hypotheses that are rejected when the expected share
// of false ones among them is to stay under q: with the p-values in rising
// order, all up to the last with p_(k) <= q k/n. A NaN is never rejected.
//
// The bound holds for independent tests and for those that depend positively.
// Stations share the room's and the drift's errors, but each is tested
// against what the others say of it, so that what they share is gone from the
// statistic; for what is left, two-sided tests of correlated normals stay
// under the bound in every case that was simulated, here and elsewhere.
//
// Source: Y. Benjamini, Y. Hochberg (1995), Controlling the false discovery
// rate, Journal of the Royal Statistical Society B 57, 289-300; Y. Benjamini,
// D. Yekutieli (2001), Annals of Statistics 29, 1165-1188, for dependence;
// A. Reiner-Benaim (2007), FDR control by the BH procedure for two-sided
// correlated tests, Biometrical Journal 49, 107-126.
func Discoveries(p []float64, q float64) []bool {
	out := make([]bool, len(p))
	order := make([]int, 0, len(p))
	for i, v := range p {
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(p[i], p[j]) })
	last := -1
	for k, i := range order {
		if p[i] <= q*float64(k+1)/float64(len(order)) {
			last = k
		}
	}
	for _, i := range order[:last+1] {
		out[i] = true
	}
	return out
}
