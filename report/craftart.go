package report

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/survey"
)

// outline draws the craft's edge.
func (g *page) outline(c *survey.Craft) {
	edge := g.frame.all(c.Body.OutlineMM)
	g.loop(edge, 1.5, black)
	g.labels.avoidAlong(closed(edge))
}

// keepouts hatches the areas where nothing may be mounted.
func (g *page) keepouts(c *survey.Craft) {
	for _, k := range c.Keepouts {
		area := g.frame.all(k.OutlineMM)
		g.hatched(area, 5, math.Pi/4, black)
		g.loop(area, 2.4, white)
		g.loop(area, 0.9, black)
		g.labels.avoidAlong(closed(area))
	}
}

// leads draws the routes of the leads that carry a load's current.
func (g *page) leads(c *survey.Craft) {
	for _, p := range c.Parts {
		g.lead(g.frame.all(flats(p.PathMM)))
		g.lead(g.frame.all(flats(p.ReturnPathMM)), 4, 2)
	}
}

func (g *page) lead(route []vg.Point, dashes ...vg.Length) {
	g.line(route, 3.4, white)
	g.line(route, 1.6, wire, dashes...)
	g.labels.avoidAlong(route)
}

// parts draws the parts that sit at a point: a magnetic one as a diamond, any
// other as a square.
func (g *page) parts(c *survey.Craft) {
	for _, p := range c.Parts {
		if p.AtMM == nil {
			continue
		}
		at := g.frame.at(flat(*p.AtMM))
		partMark(g.pen, at, p.Magnetic)
		g.labels.takeAround(at, 5)
	}
}

func partMark(p *pen, at vg.Point, magnetic bool) {
	r := vg.Length(3.6)
	mark := []vg.Point{at.Add(vg.Point{X: -r, Y: -r}), at.Add(vg.Point{X: r, Y: -r}), at.Add(vg.Point{X: r, Y: r}), at.Add(vg.Point{X: -r, Y: r})}
	if magnetic {
		r = 5.2
		mark = []vg.Point{at.Add(vg.Point{Y: -r}), at.Add(vg.Point{X: r}), at.Add(vg.Point{Y: r}), at.Add(vg.Point{X: -r})}
	}
	p.loop(mark, 2.6, white)
	p.fill(solid, mark)
}

// cable draws where the module's lead comes from and the way it must take.
func (g *page) cable(c *survey.Craft) {
	if c.Cable == nil {
		return
	}
	route := g.frame.all(append([]r2.Vec{c.Cable.FromMM}, c.Cable.ViaMM...))
	g.line(route, 3, white)
	g.line(route, 1.2, black, 1.5, 2)
	g.labels.avoidAlong(route)
	for _, q := range route[1:] {
		g.disc(q, 1.8, black, white, 0.6)
	}
	cableMark(g.pen, route[0])
	g.labels.takeAround(route[0], 5)
}

func cableMark(p *pen, at vg.Point) {
	mark := []vg.Point{at.Add(vg.Point{X: -4.6, Y: -3.6}), at.Add(vg.Point{X: 4.6, Y: -3.6}), at.Add(vg.Point{Y: 4.8})}
	p.loop(mark, 3, white)
	p.fill(white, mark)
	p.loop(mark, 1.3, black)
}

// stations draws the stations; ink gives a disc its colour.
func (g *page) stations(all []survey.Station, radius float64) {
	for _, s := range all {
		at := g.frame.at(flat(s.At))
		g.disc(at, radius, white, black, 0.9)
		g.labels.takeAround(at, radius+0.6)
	}
}

// stationNames names the stations, in letters as small as their density asks.
func (g *page) stationNames(all []survey.Station, radius float64) {
	room := g.spacing(all) - 2*(radius+0.6) - 3.5 // between two discs
	size := min(max(g.spacing(all)/3.2, 5), 7.5)
	for _, s := range all {
		if wide := g.pen.width(s.Name, size, false); wide > room && wide < 2*room {
			size = max(5, size*room/wide)
		}
	}
	for _, s := range all {
		g.label(g.frame.at(flat(s.At)), g.placed(s.Name, flat(s.At)), style{size: size, halo: 1}, radius+1.2, radius+5)
	}
}

// spacing is the usual distance on paper from a station to its nearest
// neighbour, points; that of a lone station is large.
func (g *page) spacing(all []survey.Station) float64 {
	sum, n := 0.0, 0
	for i, s := range all {
		best := math.Inf(1)
		for j, t := range all {
			if i != j {
				best = min(best, r2.Norm(r2.Sub(flat(s.At), flat(t.At))))
			}
		}
		if !math.IsInf(best, 0) {
			sum, n = sum+best, n+1
		}
	}
	if n == 0 {
		return 100
	}
	return sum / float64(n) * g.frame.scale
}

// stationRadius is the radius of a station's disc, points.
func (g *page) stationRadius(all []survey.Station) float64 {
	return min(max(g.spacing(all)/9, 1.3), 2.6)
}

// datum marks the origin of the craft frame.
func (g *page) datum() {
	at := g.frame.at(r2.Vec{})
	datumMark(g.pen, at)
	g.labels.takeAround(at, 6)
}

func datumMark(p *pen, at vg.Point) {
	for _, w := range []float64{3, 1} {
		ink := white
		if w == 1 {
			ink = black
		}
		p.line([]vg.Point{at.Add(vg.Point{X: -7}), at.Add(vg.Point{X: 7})}, w, ink)
		p.line([]vg.Point{at.Add(vg.Point{Y: -7}), at.Add(vg.Point{Y: 7})}, w, ink)
	}
	p.ring(at, 3.6, black, 1)
}

// baseWords says where the base station stands, which the picture leaves out.
func baseWords(c *survey.Craft) string {
	box := c.Body.OutlineMM.Bounds()
	b := c.Base.At
	var where []string
	add := func(mm float64, word string) {
		if mm > 0.5 {
			where = append(where, fmt.Sprintf("%.0f mm %s", mm, word))
		}
	}
	add(b.X-box.Max.X, "ahead of the nose")
	add(box.Min.X-b.X, "behind the tail")
	add(b.Y-box.Max.Y, "off the right side")
	add(box.Min.Y-b.Y, "off the left side")
	if len(where) == 0 {
		where = append(where, "within the box around the craft")
	}
	return fmt.Sprintf("base station %s: %s (x %.0f, y %.0f mm), not drawn", c.Base.Name, listed(where), b.X, b.Y)
}
