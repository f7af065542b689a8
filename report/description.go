package report

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/survey"
)

// Description draws the craft as its file describes it, seen from above, nose
// up: so that a lead on the wrong side or a slipped sign is seen before
// anything is measured.
func Description(c *survey.Craft) *Picture {
	all := c.Stations()
	pic := newPicture(named(c.Name)+": the craft as described", fmt.Sprintf("The craft seen from above, nose up: %s, %s, %s, %s.", sizeWords(c),
		counted(len(all), "station"), counted(len(c.Parts), "part"), counted(len(c.Keepouts), "keep-out")))
	g := described{newPage(pic, c, descriptionHead(c, len(all)), 26, c.Module.FootprintMM.X, descriptionKeys(c))}
	g.frameDescription(c)
	g.directions()
	g.dimensions(c)
	g.scaleBar()
	g.footSample(c.Module)
	g.outline(c)
	g.keepouts(c)
	g.leads(c)
	g.cable(c)
	g.datum()
	radius := g.stationRadius(all)
	g.stations(all, radius)
	g.clearances(c)
	g.parts(c)
	g.partNames(c)
	g.stationNames(all, radius)
	g.leftOut()
	return pic
}

// described is the page of a description.
type described struct{ *page }

func descriptionHead(c *survey.Craft, stations int) []string {
	heights := make([]string, len(c.Heights))
	for i, h := range c.Heights {
		heights[i] = short(h)
	}
	m := c.Measures()
	lines := []string{
		fmt.Sprintf("Seen from above: %s, %s. From the datum x runs forward, y right, z down.", sizeWords(c), counted(stations, "station")),
		fmt.Sprintf("The module may stand %s mm above the surface; the probe's sensor is %s mm above its foot.", listed(heights), short(m.SensorHeightMM)),
	}
	if len(c.Body.SurfacePoints) == 0 {
		lines[1] += fmt.Sprintf(" Surface: z %s mm.", short(c.Body.SurfaceZMM))
	} else {
		lines[1] += fmt.Sprintf(" Curved surface, %d points.", len(c.Body.SurfacePoints))
	}
	return lines
}

// frameDescription fixes what names must not cover.
func (g described) frameDescription(c *survey.Craft) {
	for _, k := range c.Keepouts {
		middle := g.frame.at(r2.Scale(0.5, r2.Add(k.OutlineMM.Bounds().Min, k.OutlineMM.Bounds().Max)))
		g.labels.takeAround(middle, 4)
	}
}

// clearances draws how far the module's edge stays from a part, and the way a
// part can slide.
func (g described) clearances(c *survey.Craft) {
	for _, p := range c.Parts {
		if p.AtMM == nil {
			continue
		}
		at := g.frame.at(flat(*p.AtMM))
		if p.ClearanceMM > 0 {
			g.ring(at, p.ClearanceMM*g.frame.scale, white, 2.2)
			g.ring(at, p.ClearanceMM*g.frame.scale, solid, 0.8, 3, 2)
			g.labels.avoidAlong(around24(at, vg.Points(p.ClearanceMM*g.frame.scale)))
		}
		if p.SlideMM != nil {
			a, b := g.frame.at(r2.Vec{X: p.SlideMM[0], Y: p.AtMM.Y}), g.frame.at(r2.Vec{X: p.SlideMM[1], Y: p.AtMM.Y})
			g.line([]vg.Point{a, b}, 0.9, solid)
			g.labels.avoidAlong([]vg.Point{a, b})
			for _, e := range []vg.Point{a, b} {
				g.line([]vg.Point{e.Add(vg.Point{X: -3}), e.Add(vg.Point{X: 3})}, 0.9, solid)
			}
		}
	}
}

// around24 is a circle of 24 corners, closed.
func around24(at vg.Point, radius vg.Length) []vg.Point {
	out := make([]vg.Point, 25)
	for i := range out {
		sin, cos := math.Sincos(float64(i) * math.Pi / 12)
		out[i] = at.Add(vg.Point{X: radius * vg.Length(cos), Y: radius * vg.Length(sin)})
	}
	return out
}

// partNames names parts, leads, keep-outs and the cable's start.
func (g described) partNames(c *survey.Craft) {
	bold := style{size: 8, bold: true}
	reach := []float64{6, 10, 16, 24, 34, 48, 64}
	for _, p := range c.Parts {
		switch {
		case p.AtMM != nil:
			g.label(g.frame.at(flat(*p.AtMM)), g.placed(partWords(p), flat(*p.AtMM)), withInk(bold, solid), reach...)
		case len(p.PathMM) > 1:
			g.leadName(p, withInk(bold, wire))
		}
	}
	for _, k := range c.Keepouts {
		box := k.OutlineMM.Bounds()
		g.label(g.frame.at(r2.Scale(0.5, r2.Add(box.Min, box.Max))), k.Name, bold, 0, 6, 12, 20, 30, 44)
	}
	if c.Cable != nil {
		g.label(g.frame.at(c.Cable.FromMM), "cable", bold, reach...)
	}
}

// leadName names a lead somewhere along it, near its middle first.
func (g described) leadName(p survey.Part, st style) {
	left := g.labels.left
	if !g.leadNameAlong(p, st) {
		left = append(left, p.Name)
	}
	g.labels.left = left
}

func (g described) leadNameAlong(p survey.Part, st style) bool {
	for _, share := range []float64{0.5, 0.6, 0.4, 0.7, 0.3, 0.8, 0.2, 0.9} {
		if g.label(g.along(flats(p.PathMM), share), leadWords(p), st, 4, 7) {
			return true
		}
	}
	return g.label(g.along(flats(p.PathMM), 0.5), leadWords(p), st, 16, 30, 48, 64)
}

func withInk(s style, ink color.Color) style {
	s.ink = ink
	return s
}

// along is the place a share of the way along a route, by length.
func (g described) along(route []r2.Vec, share float64) vg.Point {
	total := 0.0
	for i := range len(route) - 1 {
		total += r2.Norm(r2.Sub(route[i+1], route[i]))
	}
	left := total * share
	for i := range len(route) - 1 {
		step := r2.Sub(route[i+1], route[i])
		if n := r2.Norm(step); n > 0 && left <= n {
			return g.frame.at(r2.Add(route[i], r2.Scale(left/n, step)))
		} else {
			left -= n
		}
	}
	return g.frame.at(route[0])
}

func partWords(p survey.Part) string {
	s := p.Name
	if p.MassG > 0 {
		s += ", " + short(p.MassG) + " g"
	}
	return s
}

func leadWords(p survey.Part) string {
	switch {
	case len(p.ReturnPathMM) > 0:
		return p.Name + ", return apart"
	case p.GapMM > 0:
		return p.Name + ", gap " + short(p.GapMM) + " mm"
	}
	return p.Name
}

// dimensions draws the craft's overall length at its right and its width under
// it.
func (g described) dimensions(c *survey.Craft) {
	box, f := c.Body.OutlineMM.Bounds(), g.frame
	y := f.at(r2.Vec{X: f.box.Min.X}).Y - 14
	left := vg.Point{X: f.at(r2.Vec{Y: box.Min.Y}).X, Y: y}
	right := vg.Point{X: f.at(r2.Vec{Y: box.Max.Y}).X, Y: y}
	g.dimension(left, right, vg.Point{Y: 3}, short(round1(box.Max.Y-box.Min.Y)), 0)
	x := f.at(r2.Vec{Y: f.box.Max.Y}).X + 40
	low := vg.Point{X: x, Y: f.at(r2.Vec{X: box.Min.X}).Y}
	high := vg.Point{X: x, Y: f.at(r2.Vec{X: box.Max.X}).Y}
	g.dimension(low, high, vg.Point{X: 3}, short(round1(box.Max.X-box.Min.X)), quarterTurn)
}

// footSample draws the module's foot at the craft's scale under the craft, with
// its sensor and its arrow.
func (g described) footSample(m survey.Module) {
	length, width := m.FootprintMM.X*g.frame.scale, m.FootprintMM.Y*g.frame.scale
	if !(length > 0) || !(width > 0) || length > 58 {
		return
	}
	at := vg.Point{X: g.frame.region.Max.X - vg.Points(width/2+2), Y: vg.Points(g.foot + 4 + length/2)}
	g.loop(boxAround(at, vg.Points(width/2), vg.Points(length/2)), 1, black)
	sensor := at.Add(vg.Point{X: vg.Points(m.SensorOffsetMM.Y * g.frame.scale), Y: vg.Points(m.SensorOffsetMM.X * g.frame.scale)})
	top := at.Add(vg.Point{Y: vg.Points(length / 2)})
	g.line([]vg.Point{at, top}, 0.8, black)
	g.fill(black, []vg.Point{top, top.Add(vg.Point{X: -2.2, Y: -5}), top.Add(vg.Point{X: 2.2, Y: -5})})
	g.disc(sensor, 1.7, black, white, 0.7)
	words := "module's foot, sensor and arrow, to scale"
	g.text(at.Add(vg.Point{X: -vg.Points(width/2 + 5)}), words, style{size: textSize, left: 1, low: 0.5})
}
