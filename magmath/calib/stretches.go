package calib

import (
	"fmt"
	"math"
	"strings"
)

// mostOf is the share of the readings that a steady stretch must hold to be
// taken for the calibration by itself.
const mostOf = 0.85

// conditions looks for a field that came or went. It is true where one stretch
// is enough and shall be used alone.
func (w *work) conditions() bool {
	if !w.base.jumps(w.x, w.basep.prior) {
		return false
	}
	ts := w.data.ts
	cuts := changes(w.x, w.basep, w.base)
	if len(cuts) == 0 {
		return false
	}
	for _, k := range cuts {
		w.res.Changes = append(w.res.Changes, ts[k-1]/2+ts[k]/2)
	}
	w.res.Changes = joined(w.res.Changes)
	from := ts[0]
	for _, at := range append(w.res.Changes, ts[len(ts)-1]) {
		w.res.Steady = append(w.res.Steady, Span{from, at})
		from = at
	}
	if a, b := w.widest(cuts); float64(b-a) >= mostOf*float64(len(ts)) {
		w.main = &Span{ts[a], ts[b-1]}
		return true
	}
	w.res.refuse(CodeChanged, "conditions changed at about "+secondsWords(w.res.Changes)+
		": something magnetic came near or went, or the probe's range changed; take the readings again with everything left in place, or use one stretch only, the longest is "+
		longest(w.res.Steady).words())
	return false
}

// widest is the stretch a..b between two cuts with the most readings, grown on
// both sides as long as the readings fit it.
func (w *work) widest(cuts []int) (a, b int) {
	from := 0
	for _, k := range append(append([]int{}, cuts...), len(w.x)) {
		if k-from > b-a {
			a, b = from, k
		}
		from = k
	}
	p := w.basep
	p.x = w.x[a:b]
	f, ok := p.solve(w.base.o, w.base.e)
	if !ok {
		return a, b
	}
	m := f.matrix()
	fits := func(i int) bool { return math.Abs(see(m, f.o, w.x[i]).residual(f.target)) < 4*f.s }
	for a > 0 && (fits(a-1) || a > 1 && fits(a-2)) {
		a--
	}
	for b < len(w.x) && (fits(b) || b+1 < len(w.x) && fits(b+1)) {
		b++
	}
	return a, b
}

// joined puts changes within two seconds of one another together: something
// was on its way.
func joined(at []float64) []float64 {
	var out []float64
	sum, n := 0.0, 0.0
	for i, t := range at {
		if n > 0 && t-at[i-1] > 2 {
			out = append(out, sum/n)
			sum, n = 0, 0
		}
		sum, n = sum+t, n+1
	}
	if n > 0 {
		out = append(out, sum/n)
	}
	return out
}

func secondsWords(at []float64) string {
	var words strings.Builder
	for i, t := range at {
		switch {
		case i > 0 && i == len(at)-1:
			words.WriteString(" and ")
		case i > 0:
			words.WriteString(", ")
		}
		words.WriteString(fmt.Sprintf("%.0f s", t))
	}
	return words.String()
}

func longest(spans []Span) Span {
	best := spans[0]
	for _, s := range spans[1:] {
		if s.LengthS() > best.LengthS() {
			best = s
		}
	}
	return best
}

func (s Span) words() string { return fmt.Sprintf("%.0f to %.0f s", s.FromS, s.ToS) }
