package picture

import (
	"context"
	"image"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/vg"

	"quietmount/report/contour"
	"quietmount/report/draw"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// heat holds values over the craft. The lattices have the craft's y as x and the
// craft's x as y, as on paper.
type heat struct {
	value    *contour.Lattice // of a map the natural logarithm of the estimate; nil: nothing to colour
	doubt    *contour.Lattice // positive where the map cannot be trusted
	near     *contour.Lattice // distance inside the zone too near to a lead, mm; negative outside
	shown    []float64        // the positive estimates on the craft, sorted
	doubts   bool             // somewhere on the craft the map cannot be trusted
	anywhere bool             // somewhere on the craft the compass can point anywhere
	nears    bool             // somewhere on the craft the sensor is too near to a lead
}

const (
	heatNodes = 72  // predicted along the longer side
	heatFine  = 400 // drawn along the longer side
)

// newHeat predicts a quantity over the outline and one cell beyond it, at a
// mounting height in mm. Places too near to a lead count neither as shown nor as
// doubtful.
func newHeat(ctx context.Context, f *evaluate.Findings, q quantity, height float64, known *Known) heat {
	c := f.Craft
	l := latticeOver(c.Body.OutlineMM.Bounds())
	points := sensorsOver(c, c.Module, l, height)
	if known == nil {
		known = &Known{}
	}
	estimate, upper := known.values(ctx, f, q, height, points)
	h := heat{near: nearLattice(c, l, points)}
	for k, v := range estimate {
		estimate[k], upper[k] = q.capped(v), q.capped(upper[k])
	}
	h.doubt = doubtOf(l, estimate, upper, q)
	for k, v := range estimate {
		switch {
		case !onCraft(c, l, k):
			continue
		case h.near.V[k] > 0:
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
	h.value = fine(logarithm(l, estimate, h.shown))
	return h
}

// Known keeps what pictures of the same findings have in common, so that it is
// computed once. It is not for several goroutines at once.
type Known struct {
	all     map[knownKey]values
	sensors map[float64][]*sensors // by height
}

// knownKey tells the quantities of one craft apart; each has one unit.
type knownKey struct {
	part, unit string
	height     float64
}

type values struct{ estimate, upper []float64 }

// values returns a quantity at the sensors over the lattice of the craft, which
// the caller may change.
func (k *Known) values(ctx context.Context, f *evaluate.Findings, q quantity, height float64, points []r3.Vec) (estimate, upper []float64) {
	if k.all == nil {
		k.all, k.sensors = map[knownKey]values{}, map[float64][]*sensors{}
	}
	if k.sensors[height] == nil {
		k.sensors[height] = sensorsAt(f, points)
	}
	key := knownKey{q.part, q.unit, height}
	if _, ok := k.all[key]; !ok {
		estimate, upper = q.over(ctx, k.sensors[height])
		if ctx.Err() != nil {
			return make([]float64, len(points)), make([]float64, len(points))
		}
		k.all[key] = values{estimate, upper}
	}
	return slices.Clone(k.all[key].estimate), slices.Clone(k.all[key].upper)
}

// over returns what at returns, and stops once ctx has ended.
func (q quantity) over(ctx context.Context, all []*sensors) (estimate, upper []float64) {
	for _, some := range all {
		if ctx.Err() != nil {
			break
		}
		e, u := q.at(some)
		estimate, upper = append(estimate, e...), append(upper, u...)
	}
	return estimate, upper
}

// latticeOver returns a lattice without values over a box of the craft and one
// cell around it.
func latticeOver(box r2.Box) *contour.Lattice {
	w, h := box.Max.Y-box.Min.Y, box.Max.X-box.Min.X
	step := max(w, h, 1) / heatNodes
	nx, ny := int(math.Ceil(w/step))+3, int(math.Ceil(h/step))+3
	return &contour.Lattice{
		X0: (box.Min.Y+box.Max.Y)/2 - step*float64(nx-1)/2, DX: step, NX: nx,
		Y0: (box.Min.X+box.Max.X)/2 - step*float64(ny-1)/2, DY: step, NY: ny,
	}
}

// fine refines a lattice for drawing.
func fine(l *contour.Lattice) *contour.Lattice { return l.Refined(max(1, heatFine/max(l.NX, l.NY))) }

// sensorsOver returns the places of a module's sensor over the nodes of a
// lattice.
func sensorsOver(c *survey.Craft, module survey.Module, l *contour.Lattice, height float64) []r3.Vec {
	surface := c.Surface()
	points := make([]r3.Vec, l.NX*l.NY)
	for k := range points {
		p := l.Place(k%l.NX, k/l.NX)
		points[k] = module.SensorAt(r3.Vec{X: p.Y, Y: p.X, Z: surface.Z(p.Y, p.X)}, height)
	}
	return points
}

// onCraft reports whether node k of a lattice lies inside the outline.
func onCraft(c *survey.Craft, l *contour.Lattice, k int) bool {
	p := l.Place(k%l.NX, k/l.NX)
	return c.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X})
}

// nearLattice returns how far each sensor is inside the zone too near to a lead,
// mm.
func nearLattice(c *survey.Craft, l *contour.Lattice, sensors []r3.Vec) *contour.Lattice {
	out := *l
	out.V = make([]float64, len(sensors))
	for i, p := range sensors {
		out.V[i] = max(-rank.LeadMarginMM(c, p), -1e6)
	}
	return &out
}

// logarithm returns the natural logarithm of v. Zero becomes a tenth of the
// smallest value shown, NaN ten times the largest.
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

// doubtOf is positive where the bound exceeds both the quantity's ratio times
// the estimate and the value that does no harm, and where either is NaN.
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

// ground is the coloured area inside the outline, under everything else on a
// map. page is set before anything is drawn.
type ground struct {
	heat
	craft *survey.Craft
	page  *draw.Page
}

// box returns the paper under the colours.
func (g *ground) box() vg.Rectangle {
	l := g.value
	half := r2.Vec{X: l.DX / 2, Y: l.DY / 2}
	return vg.Rectangle{Min: g.paper(r2.Sub(l.Place(0, 0), half)), Max: g.paper(r2.Add(l.Place(l.NX-1, l.NY-1), half))}
}

// lay draws the colours, the hatch of doubtful places, the lines that contours draws
// and the zones too near to a lead, and covers what lies outside the
// outline.
func (g *ground) lay(ink func(v float64) color.Color, contours func()) {
	box := g.box()
	g.page.Image(box, g.image(ink))
	g.doubtHatch(box)
	contours()
	g.nearLeads(box)
	rim := vg.Point{X: 3, Y: 3}
	hole := g.page.Frame.All(g.craft.Body.OutlineMM)
	if draw.Area(hole) > 0 {
		slices.Reverse(hole) // the box runs counterclockwise
	}
	g.page.Fill(draw.White, draw.Corners(vg.Rectangle{Min: box.Min.Sub(rim), Max: box.Max.Add(rim)}), hole)
}

// image colours the lattice, one pixel per node, nose up. Places too near to a
// lead stay white.
func (h *heat) image(ink func(v float64) color.Color) *image.RGBA {
	l := h.value
	img := image.NewRGBA(image.Rect(0, 0, l.NX, l.NY))
	for j := range l.NY {
		for i := range l.NX {
			c := ink(l.At(i, j))
			if h.tooNear(l.Place(i, j)) {
				c = draw.White
			}
			img.Set(i, l.NY-1-j, c)
		}
	}
	return img
}

// tooNear reports whether a place of the lattice is too near to a lead for a
// value.
func (h *heat) tooNear(p r2.Vec) bool { return h.nears && h.near.Bilinear(p.X, p.Y) > 0 }

// doubtful reports whether a place of the lattice is hatched.
func (h *heat) doubtful(p r2.Vec) bool { return h.doubt.Bilinear(p.X, p.Y) > 0 && !h.tooNear(p) }

// place returns the place of the lattice at a place on paper.
func (g *ground) place(at vg.Point) r2.Vec {
	f := g.page.Frame
	d := at.Sub(f.At(r2.Vec{}))
	return r2.Vec{X: d.X.Points() / f.Scale, Y: d.Y.Points() / f.Scale}
}

// paper returns the place on paper of a place of the lattice.
func (g *ground) paper(p r2.Vec) vg.Point { return g.page.Frame.At(r2.Vec{X: p.Y, Y: p.X}) }

// doubtHatch slants lines over the places where the map cannot be trusted.
func (g *ground) doubtHatch(box vg.Rectangle) {
	runs := g.hatching(box, 6, g.doubtful, -math.Pi/4)
	g.page.Lines(runs, 1.5, draw.White)
	g.page.Lines(runs, 0.5, draw.Black)
	g.page.Picture.Note("doubt hatch: %d lines", len(runs))
}

// nearLeads cross-hatches and rims the zones too near to a lead.
func (g *ground) nearLeads(box vg.Rectangle) {
	if !g.nears {
		return
	}
	runs := g.hatching(box, 3.5, g.tooNear, math.Pi/4, -math.Pi/4)
	g.page.Lines(runs, 0.4, draw.Grey)
	for _, l := range g.near.Lines(0) {
		rim := make([]vg.Point, len(l))
		for i, p := range l {
			rim[i] = g.paper(p)
		}
		g.page.Line(rim, 0.7, draw.Black)
	}
	g.page.Picture.Note("too near to a lead: %d lines", len(runs))
}

// hatching returns the pieces of parallel lines in a box whose places pass.
func (g *ground) hatching(box vg.Rectangle, gap float64, passes func(r2.Vec) bool, angles ...float64) [][]vg.Point {
	var runs [][]vg.Point
	for _, angle := range angles {
		for _, s := range draw.Hatching(draw.Corners(box), gap, angle) {
			runs = append(runs, g.within(s, passes)...)
		}
	}
	return runs
}

// within returns the pieces of a line on paper whose places pass.
func (g *ground) within(s [2]vg.Point, passes func(r2.Vec) bool) [][]vg.Point {
	span := s[1].Sub(s[0])
	n := int(draw.Distance(s[0], s[1])/1.5) + 1
	var runs [][]vg.Point
	var from, to vg.Point
	open := false
	end := func() {
		if open && to != from {
			runs = append(runs, []vg.Point{from, to})
		}
		open = false
	}
	for i := range n + 1 {
		p := s[0].Add(span.Scale(vg.Length(i) / vg.Length(n)))
		if !passes(g.place(p)) {
			end()
			continue
		}
		if !open {
			from, open = p, true
		}
		to = p
	}
	end()
	return runs
}

// clear returns the pieces of a line of the lattice, on paper, outside the zones
// too near to a lead.
func (g *ground) clear(line []r2.Vec) [][]vg.Point {
	pieces := [][]vg.Point{nil}
	for _, p := range line {
		if g.tooNear(p) {
			pieces = append(pieces, nil)
			continue
		}
		last := len(pieces) - 1
		pieces[last] = append(pieces[last], g.paper(p))
	}
	return pieces
}
