package report

import (
	"image"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/findings"
)

// heat is a quantity over the craft: its logarithm on a lattice whose x is the
// craft's y and whose y is the craft's x, as on paper.
type heat struct {
	value    *lattice  // natural logarithm of the estimate
	doubt    *lattice  // positive where the map cannot be trusted
	shown    []float64 // positive values on the craft, sorted
	doubts   bool      // somewhere on the craft it cannot
	anywhere bool      // somewhere on the craft the compass can point anywhere
	near     *lattice  // how far inside of what is too near to a lead, mm; negative outside
	nears    bool      // somewhere on the craft it is too near
}

const (
	heatNodes = 72  // along the longer side, predicted
	heatFine  = 400 // along the longer side, drawn
)

// newHeat predicts a quantity over the outline and a little beyond, at a
// mounting height. What is too near to a lead counts as neither known nor
// doubtful.
func newHeat(c *survey.Craft, q quantity, height float64) heat {
	l := latticeOver(c.Body.OutlineMM.Bounds())
	points := sensorsOver(c, l, height)
	estimate, upper := q.at(points)
	h := heat{near: nearLattice(c, l, points)}
	for k, v := range estimate {
		estimate[k], upper[k] = q.capped(v), q.capped(upper[k])
	}
	h.doubt = doubtOf(l, estimate, upper, q)
	for k, v := range estimate {
		p := l.place(k%l.nx, k/l.nx)
		if !c.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X}) {
			continue
		}
		if h.near.v[k] > 0 {
			h.nears = true
			continue
		}
		h.doubts = h.doubts || h.doubt.v[k] > 0
		h.anywhere = h.anywhere || q.most > 0 && v >= q.most
		if v > 0 {
			h.shown = append(h.shown, v)
		}
	}
	slices.Sort(h.shown)
	h.value = logarithm(l, estimate, h.shown)
	h.value = h.value.refined(max(1, heatFine/max(l.nx, l.ny)))
	return h
}

// nearLattice is how far each place is inside of what is too near to a lead.
func nearLattice(c *survey.Craft, l *lattice, sensors []r3.Vec) *lattice {
	out := *l
	out.v = make([]float64, len(sensors))
	for i, p := range sensors {
		out.v[i] = max(-findings.LeadMarginMM(c, p), -1e6)
	}
	return &out
}

// latticeOver covers a box of the craft and one cell around it.
func latticeOver(box r2.Box) *lattice {
	w, h := box.Max.Y-box.Min.Y, box.Max.X-box.Min.X
	step := max(w, h, 1) / heatNodes
	nx, ny := int(math.Ceil(w/step))+3, int(math.Ceil(h/step))+3
	return &lattice{
		x0: (box.Min.Y+box.Max.Y)/2 - step*float64(nx-1)/2, dx: step, nx: nx,
		y0: (box.Min.X+box.Max.X)/2 - step*float64(ny-1)/2, dy: step, ny: ny,
	}
}

// logarithm takes the logarithm; what is zero counts as a tenth of the
// quietest place shown, what is unknown as ten times the loudest.
func logarithm(l *lattice, v, shown []float64) *lattice {
	low, high := 1e-3, 1e3
	if n := len(shown); n > 0 {
		low, high = shown[0]/10, shown[n-1]*10
	}
	out := *l
	out.v = make([]float64, len(v))
	for i, x := range v {
		if math.IsNaN(x) {
			x = high
		}
		out.v[i] = math.Log(min(max(x, low), high))
	}
	return &out
}

// doubtOf is positive where the bound is over the ratio times the estimate and
// over what would still do no harm.
func doubtOf(l *lattice, estimate, upper []float64, q quantity) *lattice {
	out := *l
	out.v = make([]float64, len(estimate))
	for i, e := range estimate {
		u := upper[i]
		if math.IsNaN(e) || math.IsNaN(u) {
			out.v[i] = 1
			continue
		}
		out.v[i] = min(max(min(math.Log(u/max(q.ratio*e, 1e-9)), math.Log(u/max(q.doubt, 1e-9))), -1), 1)
	}
	return &out
}

// image colours the lattice, a pixel a node, nose up; what is too near to a
// lead stays white.
func (h heat) image(r ramp) image.Image {
	l := h.value
	img := image.NewRGBA(image.Rect(0, 0, l.nx, l.ny))
	for j := range l.ny {
		for i := range l.nx {
			ink := r.color(math.Exp(l.at(i, j)))
			if p := l.place(i, j); h.nears && h.near.bilinear(p.X, p.Y) > 0 {
				ink = white
			}
			img.Set(i, l.ny-1-j, ink)
		}
	}
	return img
}
