package picture

import (
	"image"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/contour"
	"quietmount/report/draw"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// heat is a quantity over the craft: its logarithm on a lattice whose x is the
// craft's y and whose y is the craft's x, as on paper.
type heat struct {
	value    *contour.Lattice // natural logarithm of the estimate
	doubt    *contour.Lattice // positive where the map cannot be trusted
	shown    []float64        // positive values on the craft, sorted
	doubts   bool             // somewhere on the craft it cannot
	anywhere bool             // somewhere on the craft the compass can point anywhere
	near     *contour.Lattice // how far inside of what is too near to a lead, mm; negative outside
	nears    bool             // somewhere on the craft it is too near
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
		p := l.Place(k%l.NX, k/l.NX)
		if !c.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X}) {
			continue
		}
		if h.near.V[k] > 0 {
			h.nears = true
			continue
		}
		h.doubts = h.doubts || h.doubt.V[k] > 0
		h.anywhere = h.anywhere || q.most > 0 && v >= q.most
		if v > 0 {
			h.shown = append(h.shown, v)
		}
	}
	slices.Sort(h.shown)
	h.value = logarithm(l, estimate, h.shown)
	h.value = h.value.Refined(max(1, heatFine/max(l.NX, l.NY)))
	return h
}

// nearLattice is how far each place is inside of what is too near to a lead.
func nearLattice(c *survey.Craft, l *contour.Lattice, sensors []r3.Vec) *contour.Lattice {
	out := *l
	out.V = make([]float64, len(sensors))
	for i, p := range sensors {
		out.V[i] = max(-findings.LeadMarginMM(c, p), -1e6)
	}
	return &out
}

// latticeOver covers a box of the craft and one cell around it.
func latticeOver(box r2.Box) *contour.Lattice {
	w, h := box.Max.Y-box.Min.Y, box.Max.X-box.Min.X
	step := max(w, h, 1) / heatNodes
	nx, ny := int(math.Ceil(w/step))+3, int(math.Ceil(h/step))+3
	return &contour.Lattice{
		X0: (box.Min.Y+box.Max.Y)/2 - step*float64(nx-1)/2, DX: step, NX: nx,
		Y0: (box.Min.X+box.Max.X)/2 - step*float64(ny-1)/2, DY: step, NY: ny,
	}
}

// logarithm takes the logarithm; what is zero counts as a tenth of the
// quietest place shown, what is unknown as ten times the loudest.
func logarithm(l *contour.Lattice, v, shown []float64) *contour.Lattice {
	low, high := 1e-3, 1e3
	if n := len(shown); n > 0 {
		low, high = shown[0]/10, shown[n-1]*10
	}
	out := *l
	out.V = make([]float64, len(v))
	for i, x := range v {
		if math.IsNaN(x) {
			x = high
		}
		out.V[i] = math.Log(min(max(x, low), high))
	}
	return &out
}

// doubtOf is positive where the bound is over the ratio times the estimate and
// over what would still do no harm.
func doubtOf(l *contour.Lattice, estimate, upper []float64, q quantity) *contour.Lattice {
	out := *l
	out.V = make([]float64, len(estimate))
	for i, e := range estimate {
		u := upper[i]
		if math.IsNaN(e) || math.IsNaN(u) {
			out.V[i] = 1
			continue
		}
		out.V[i] = min(max(min(math.Log(u/max(q.ratio*e, 1e-9)), math.Log(u/max(q.doubt, 1e-9))), -1), 1)
	}
	return &out
}

// image colours the lattice, a pixel a node, nose up; what is too near to a
// lead stays white.
func (h heat) image(r draw.Ramp) image.Image {
	l := h.value
	img := image.NewRGBA(image.Rect(0, 0, l.NX, l.NY))
	for j := range l.NY {
		for i := range l.NX {
			ink := r.Color(math.Exp(l.At(i, j)))
			if p := l.Place(i, j); h.nears && h.near.Bilinear(p.X, p.Y) > 0 {
				ink = draw.White
			}
			img.Set(i, l.NY-1-j, ink)
		}
	}
	return img
}
