package rank

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
)

// table is the evidence as text: regret and bounds of the first spots, the bounds
// anywhere with the posteriors, and what was called within the budget.
func table(all []trialResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "| craft | ranked | n | T of the best | regret: median | 90th percentile | within | within 1 | bound held |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, w := range rows() {
		some := ofRow(all, w.Name)
		if len(some) == 0 {
			continue
		}
		line(&b, w.Name, "as mounted", some, func(r trialResult) *picked { return &r.This })
		line(&b, w.Name, "level, exact", some, func(r trialResult) *picked { return r.Level })
		some = slices.DeleteFunc(some, func(r trialResult) bool { return r.Plain == nil })
		line(&b, w.Name, "as mounted, every third", some, func(r trialResult) *picked { return &r.This })
		line(&b, w.Name, "plain", some, func(r trialResult) *picked { return r.Plain })
		line(&b, w.Name, "told all sources", some, func(r trialResult) *picked { return r.Told })
	}
	fmt.Fprintf(&b, "\n| craft | where | n | bound held | bounds under 180: n | held | truth's posterior quantile, %% in each tenth |\n|---|---|---|---|---|---|---|\n")
	for _, w := range rows() {
		if some := ofRow(all, w.Name); len(some) > 0 {
			histograms(&b, w.Name, some)
		}
	}
	fmt.Fprintf(&b, "\n| craft | spots called within the budget | truly over it |\n|---|---|---|\n")
	for _, w := range rows() {
		claimed, over := 0, 0
		for _, r := range ofRow(all, w.Name) {
			claimed, over = claimed+r.Spots, over+r.Over
		}
		if claimed > 0 {
			fmt.Fprintf(&b, "| %s | %d | %d, %s |\n", w.Name, claimed, over, share(over, claimed))
		}
	}
	return b.String()
}

func ofRow(all []trialResult, name string) []trialResult {
	return slices.DeleteFunc(slices.Clone(all), func(r trialResult) bool { return r.Row != name })
}

// method sums up one way of ranking over many craft.
type method struct {
	n            int
	regret, best []float64 // in order
	within, held int
}

func methodOf(some []trialResult, get func(trialResult) *picked) method {
	var m method
	for _, r := range some {
		p := get(r)
		if p == nil {
			continue
		}
		m.n++
		m.regret, m.best = append(m.regret, p.Regret), append(m.best, r.Best)
		if r.within(p) {
			m.within++
		}
		if p.Held {
			m.held++
		}
	}
	slices.Sort(m.regret)
	slices.Sort(m.best)
	return m
}

func line(b *strings.Builder, row, name string, some []trialResult, get func(trialResult) *picked) {
	m := methodOf(some, get)
	if m.n == 0 {
		return
	}
	fmt.Fprintf(b, "| %s | %s | %d | %.2f | %.2f (%.2f) | %.2f (%.2f) | %s | %s | %s |\n", row, name, m.n, at(m.best, 0.5),
		at(m.regret, 0.5), quantileError(m.regret, 0.5), at(m.regret, 0.9), quantileError(m.regret, 0.9),
		share(m.within, m.n), share(countWithin(m.regret, 1), m.n), share(m.held, m.n))
}

// heldAnywhere is the share of random places whose bound was not exceeded, and its
// standard error: the places of one craft go together.
func heldAnywhere(some []trialResult) (mean, se float64) {
	var shares []float64
	for _, r := range some {
		if r.Places > 0 {
			shares = append(shares, float64(r.Held)/float64(r.Places))
		}
	}
	if len(shares) < 2 {
		return stat.Mean(shares, nil), math.Inf(1)
	}
	mean, sd := stat.MeanStdDev(shares, nil)
	return mean, stat.StdErr(sd, float64(len(shares)))
}

func histograms(b *strings.Builder, row string, some []trialResult) {
	var first, anywhere [10]int
	held, places, points := 0, 0, [2]int{}
	for _, r := range some {
		first[min(9, int(10*r.Below))]++
		for k, n := range r.Bins {
			anywhere[k] += n
			places += n
		}
		points[0], points[1] = points[0]+r.Points[0], points[1]+r.Points[1]
		if r.This.Held {
			held++
		}
	}
	mean, se := heldAnywhere(some)
	fmt.Fprintf(b, "| %s | first spot | %d | %s | | | %s |\n", row, len(some), share(held, len(some)), parts(first, len(some)))
	fmt.Fprintf(b, "| %s | anywhere | %d | %.1f %% (%.1f) | %d | %.1f %% | %s |\n", row, places, 100*mean, 100*se,
		points[1], 100*float64(points[0])/float64(points[1]), parts(anywhere, places))
}

func parts(bins [10]int, n int) string {
	var out []string
	for _, k := range bins {
		out = append(out, fmt.Sprintf("%.0f", 100*float64(k)/float64(n)))
	}
	return strings.Join(out, " ")
}

func countWithin(x []float64, most float64) int {
	n := 0
	for _, v := range x {
		if v <= most {
			n++
		}
	}
	return n
}

func at(sorted []float64, p float64) float64 {
	return sorted[min(len(sorted)-1, max(0, int(p*float64(len(sorted)))))]
}

// quantileError is half the distance between the order statistics one
// standard deviation of the binomial count away.
func quantileError(sorted []float64, p float64) float64 {
	n := float64(len(sorted))
	d := math.Sqrt(p * (1 - p) / n)
	return (at(sorted, p+d) - at(sorted, p-d)) / 2
}

// share is a percentage with its binomial standard error.
func share(k, n int) string {
	p := float64(k) / float64(n)
	return fmt.Sprintf("%.1f %% (%.1f)", 100*p, 100*math.Sqrt(p*(1-p)/float64(n)))
}
