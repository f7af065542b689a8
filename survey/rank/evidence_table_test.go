package rank

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// table is the evidence as text: a table of regret, one of bounds and
// coverage.
func table(all []trialResult) string {
	var b strings.Builder
	names := []string{}
	for _, w := range rows() {
		names = append(names, w.Name)
	}
	fmt.Fprintf(&b, "| row | method | craft | median | 90th percentile | within 0.3 | within 1 | bound held |\n|---|---|---|---|---|---|---|---|\n")
	for _, n := range names {
		some := slices.DeleteFunc(slices.Clone(all), func(r trialResult) bool { return r.Row != n })
		if len(some) == 0 {
			continue
		}
		line(&b, n, "this", some, func(r trialResult) (float64, bool) { return r.Regret, r.Held })
		some = slices.DeleteFunc(some, func(r trialResult) bool { return !r.Rivals })
		if len(some) == 0 {
			continue
		}
		line(&b, n, "plain", some, func(r trialResult) (float64, bool) { return r.Plain, r.PlainHeld })
		line(&b, n, "told all sources", some, func(r trialResult) (float64, bool) { return r.Told, r.TellHeld })
	}
	fmt.Fprintf(&b, "\n| row | of which | craft | median | within 1 | bound held | coverage of 95 %% intervals |\n|---|---|---|---|---|---|---|\n")
	for _, n := range names {
		for _, c := range classes() {
			some := slices.DeleteFunc(slices.Clone(all), func(r trialResult) bool { return r.Row != n || !c.is(r) })
			if len(some) == 0 || (c.name != "all" && !strings.Contains(n, "complications")) {
				continue
			}
			regret, held := column(some, func(r trialResult) (float64, bool) { return r.Regret, r.Held })
			fmt.Fprintf(&b, "| %s | %s | %d | %.2f | %s | %s | %s |\n", n, c.name, len(some), at(regret, 0.5), share(countWithin(regret, 1), len(some)), share(held, len(some)), covers(some))
		}
	}
	return b.String()
}

type class struct {
	name string
	is   func(trialResult) bool
}

func classes() []class {
	return []class{
		{"all", func(trialResult) bool { return true }},
		{"a tenth of the current", func(r trialResult) bool { return r.Part < 1 }},
		{"a hatch magnet", func(r trialResult) bool { return r.Odd == "hatch" }},
		{"a pod", func(r trialResult) bool { return r.Odd == "pod" }},
		{"a mast", func(r trialResult) bool { return r.Odd == "mast" }},
	}
}

func column(some []trialResult, get func(trialResult) (float64, bool)) (x []float64, held int) {
	for _, r := range some {
		v, ok := get(r)
		x = append(x, v)
		if ok {
			held++
		}
	}
	slices.Sort(x)
	return x, held
}

func line(b *strings.Builder, row, method string, some []trialResult, get func(trialResult) (float64, bool)) {
	x, held := column(some, get)
	n := len(x)
	fmt.Fprintf(b, "| %s | %s | %d | %.2f (%.2f) | %.2f (%.2f) | %s | %s | %s |\n", row, method, n,
		at(x, 0.5), quantileError(x, 0.5), at(x, 0.9), quantileError(x, 0.9), share(countWithin(x, 0.3), n), share(countWithin(x, 1), n), share(held, n))
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

func covers(some []trialResult) string {
	sum := map[string][2]int{}
	for _, r := range some {
		for k, c := range r.Cover {
			s := sum[k]
			sum[k] = [2]int{s[0] + c[0], s[1] + c[1]}
		}
	}
	var out []string
	for _, k := range keysOf(sum) {
		name := k + " mm"
		if k == "bound" {
			name = "bound of the shifting error anywhere"
		}
		out = append(out, fmt.Sprintf("%s: %.1f %%", name, 100*float64(sum[k][0])/float64(sum[k][1])))
	}
	return strings.Join(out, ", ")
}

func keysOf(m map[string][2]int) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
