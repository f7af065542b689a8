package draw

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/report/say"
	"quietmount/survey"
)

// Outline draws the craft's edge.
func (g *Page) Outline(c *survey.Craft) {
	edge := g.Frame.All(c.Body.OutlineMM)
	g.Loop(edge, 1.5, Black)
	g.Labels.AvoidAlong(closed(edge))
}

// Keepouts hatches the areas where nothing may be mounted.
func (g *Page) Keepouts(c *survey.Craft) {
	for _, k := range c.Keepouts {
		area := g.Frame.All(k.OutlineMM)
		g.Hatched(area, 5, math.Pi/4, Black)
		g.Loop(area, 2.4, White)
		g.Loop(area, 0.9, Black)
		g.Labels.AvoidAlong(closed(area))
	}
}

// Leads draws the routes of the leads that carry a load's current.
func (g *Page) Leads(c *survey.Craft) {
	for _, p := range c.Parts {
		g.lead(g.Frame.All(Flats(p.PathMM)))
		g.lead(g.Frame.All(Flats(p.ReturnPathMM)), 4, 2)
	}
}

func (g *Page) lead(route []vg.Point, dashes ...vg.Length) {
	g.Line(route, 3.4, White)
	g.Line(route, 1.6, Wire, dashes...)
	g.Labels.AvoidAlong(route)
}

// Parts draws the parts that sit at a point: a magnetic one as a diamond, any
// other as a square.
func (g *Page) Parts(c *survey.Craft) {
	for _, p := range c.Parts {
		if p.AtMM == nil {
			continue
		}
		at := g.Frame.At(Flat(*p.AtMM))
		partMark(g.Pen, at, p.Magnetic)
		g.Labels.TakeAround(at, 5)
	}
}

func partMark(p *Pen, at vg.Point, magnetic bool) {
	r := vg.Length(3.6)
	mark := []vg.Point{at.Add(vg.Point{X: -r, Y: -r}), at.Add(vg.Point{X: r, Y: -r}), at.Add(vg.Point{X: r, Y: r}), at.Add(vg.Point{X: -r, Y: r})}
	if magnetic {
		r = 5.2
		mark = []vg.Point{at.Add(vg.Point{Y: -r}), at.Add(vg.Point{X: r}), at.Add(vg.Point{Y: r}), at.Add(vg.Point{X: -r})}
	}
	p.Loop(mark, 2.6, White)
	p.Fill(Solid, mark)
}

// Cable draws where the module's lead comes from and the way it must take.
func (g *Page) Cable(c *survey.Craft) {
	if c.Cable == nil {
		return
	}
	route := g.Frame.All(append([]r2.Vec{c.Cable.FromMM}, c.Cable.ViaMM...))
	g.Line(route, 3, White)
	g.Line(route, 1.2, Black, 1.5, 2)
	g.Labels.AvoidAlong(route)
	for _, q := range route[1:] {
		g.Disc(q, 1.8, Black, White, 0.6)
	}
	cableMark(g.Pen, route[0])
	g.Labels.TakeAround(route[0], 5)
}

func cableMark(p *Pen, at vg.Point) {
	mark := []vg.Point{at.Add(vg.Point{X: -4.6, Y: -3.6}), at.Add(vg.Point{X: 4.6, Y: -3.6}), at.Add(vg.Point{Y: 4.8})}
	p.Loop(mark, 3, White)
	p.Fill(White, mark)
	p.Loop(mark, 1.3, Black)
}

// Stations draws the stations; ink gives a disc its colour.
func (g *Page) Stations(all []survey.Station, radius float64) {
	for _, s := range all {
		at := g.Frame.At(Flat(s.At))
		g.Disc(at, radius, White, Black, 0.9)
		g.Labels.TakeAround(at, radius+0.6)
	}
}

// StationNames names the stations, in letters as small as their density asks.
func (g *Page) StationNames(all []survey.Station, radius float64) {
	room := g.Spacing(all) - 2*(radius+0.6) - 3.5 // between two discs
	size := min(max(g.Spacing(all)/3.2, 5), 7.5)
	for _, s := range all {
		if wide := g.Pen.Width(s.Name, size, false); wide > room && wide < 2*room {
			size = max(5, size*room/wide)
		}
	}
	for _, s := range all {
		g.Label(g.Frame.At(Flat(s.At)), g.Placed(s.Name, Flat(s.At)), Style{Size: size, Halo: 1}, radius+1.2, radius+5)
	}
}

// Spacing is the usual distance on paper from a station to its nearest
// neighbour, points; that of a lone station is large.
func (g *Page) Spacing(all []survey.Station) float64 {
	sum, n := 0.0, 0
	for i, s := range all {
		best := math.Inf(1)
		for j, t := range all {
			if i != j {
				best = min(best, r2.Norm(r2.Sub(Flat(s.At), Flat(t.At))))
			}
		}
		if !math.IsInf(best, 0) {
			sum, n = sum+best, n+1
		}
	}
	if n == 0 {
		return 100
	}
	return sum / float64(n) * g.Frame.Scale
}

// StationRadius is the radius of a station's disc, points.
func (g *Page) StationRadius(all []survey.Station) float64 {
	return min(max(g.Spacing(all)/9, 1.3), 2.6)
}

// Datum marks the origin of the craft frame.
func (g *Page) Datum() {
	at := g.Frame.At(r2.Vec{})
	DatumMark(g.Pen, at)
	g.Labels.TakeAround(at, 6)
}

// DatumMark is the sign of the datum.
func DatumMark(p *Pen, at vg.Point) {
	for _, w := range []float64{3, 1} {
		ink := White
		if w == 1 {
			ink = Black
		}
		p.Line([]vg.Point{at.Add(vg.Point{X: -7}), at.Add(vg.Point{X: 7})}, w, ink)
		p.Line([]vg.Point{at.Add(vg.Point{Y: -7}), at.Add(vg.Point{Y: 7})}, w, ink)
	}
	p.Ring(at, 3.6, Black, 1)
}

// BaseWords says where the base station stands, which the picture leaves out.
func BaseWords(c *survey.Craft) string {
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
	return fmt.Sprintf("base station %s: %s (x %.0f, y %.0f mm), not drawn", c.Base.Name, say.Listed(where), b.X, b.Y)
}
