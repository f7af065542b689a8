package draw

import (
	"fmt"
	"math"
	"strings"

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

// Leads draws the leads that carry a load's current, their returns broken.
func (g *Page) Leads(c *survey.Craft) {
	for _, p := range c.Parts {
		g.lead(g.Frame.All(Flats(p.PathMM)))
		g.lead(g.Frame.All(Flats(p.ReturnPathMM)), 4, 2)
	}
}

func (g *Page) lead(route []vg.Point, dashes ...vg.Length) {
	g.Edged(route, 3.4, 1.6, Wire, dashes...)
	g.Labels.AvoidAlong(route)
}

// Parts draws the parts that have one place: magnetic ones as a diamond, others
// as a square.
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

// partMark marks a part.
func partMark(p *Pen, at vg.Point, magnetic bool) {
	r := vg.Length(3.6)
	mark := BoxAround(at, r, r)
	if magnetic {
		r = 5.2
		mark = []vg.Point{at.Add(vg.Point{Y: -r}), at.Add(vg.Point{X: r}), at.Add(vg.Point{Y: r}), at.Add(vg.Point{X: -r})}
	}
	p.Loop(mark, 2.6, White)
	p.Fill(Solid, mark)
}

// Cable draws where the module's cable starts and the points that it must pass.
func (g *Page) Cable(c *survey.Craft) {
	if c.Cable == nil {
		return
	}
	route := g.Frame.All(append([]r2.Vec{c.Cable.FromMM}, c.Cable.ViaMM...))
	g.Edged(route, 3, 1.2, Black, 1.5, 2)
	g.Labels.AvoidAlong(route)
	for _, q := range route[1:] {
		g.Disc(q, 1.8, Black, White, 0.6)
	}
	cableMark(g.Pen, route[0])
	g.Labels.TakeAround(route[0], 5)
}

// cableMark marks the start of the cable.
func cableMark(p *Pen, at vg.Point) {
	mark := []vg.Point{at.Add(vg.Point{X: -4.6, Y: -3.6}), at.Add(vg.Point{X: 4.6, Y: -3.6}), at.Add(vg.Point{Y: 4.8})}
	p.Loop(mark, 3, White)
	p.Fill(White, mark)
	p.Loop(mark, 1.3, Black)
}

// Stations draws the stations as white discs.
func (g *Page) Stations(all []survey.Station, radius float64) {
	for _, s := range all {
		at := g.Frame.At(Flat(s.At))
		g.Disc(at, radius, White, Black, 0.9)
		g.Labels.TakeAround(at, radius+0.6)
	}
}

// StationNames writes the stations' names, in smaller letters where stations are
// dense.
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

// Spacing returns the mean distance on paper from a station to its nearest
// neighbour, points; 100 for a single station.
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

// StationRadius returns the radius of a station's disc, points.
func (g *Page) StationRadius(all []survey.Station) float64 {
	return min(max(g.Spacing(all)/9, 1.3), 2.6)
}

// Datum marks the origin of the craft frame.
func (g *Page) Datum() {
	at := g.Frame.At(r2.Vec{})
	DatumMark(g.Pen, at)
	g.Labels.TakeAround(at, 6)
}

// DatumMark draws the mark of the datum.
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

// BaseWords describes where the base station is, which no picture shows.
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

// StationKey explains a station.
func StationKey(words string) Key {
	return Key{func(p *Pen, at vg.Point) { p.Disc(at, 2.6, White, Black, 0.9) }, words}
}

// OutlineKey explains the edge of the craft.
func OutlineKey() Key {
	return Key{func(p *Pen, at vg.Point) { p.Line(Level(at, 10), 1.5, Black) }, "outline of the craft"}
}

// KeepoutKey explains a keep-out.
func KeepoutKey(words string) Key {
	return Key{func(p *Pen, at vg.Point) {
		box := BoxAround(at, 10, 4.5)
		p.Hatched(box, 4, math.Pi/4, Black)
		p.Loop(box, 0.8, Black)
	}, words}
}

// ThingKeys explains the kinds of parts, leads and cable that a craft has.
func ThingKeys(c *survey.Craft) []Key {
	var keys []Key
	var plain, magnetic, leads, back bool
	for _, p := range c.Parts {
		plain = plain || (p.AtMM != nil && !p.Magnetic)
		magnetic = magnetic || (p.AtMM != nil && p.Magnetic)
		leads = leads || len(p.PathMM) > 1
		back = back || len(p.ReturnPathMM) > 1
	}
	if plain {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { partMark(p, at, false) }, "part"})
	}
	if magnetic {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { partMark(p, at, true) }, "magnetic part"})
	}
	if leads {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { p.Line(Level(at, 11), 1.6, Wire) }, "lead that carries a load's current"})
	}
	if back {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { p.Line(Level(at, 11), 1.6, Wire, 4, 2) }, "its return, where that runs elsewhere"})
	}
	if c.Cable != nil {
		keys = append(keys, Key{func(p *Pen, at vg.Point) {
			p.Line([]vg.Point{at, at.Add(vg.Point{X: 12})}, 1.2, Black, 1.5, 2)
			cableMark(p, at.Add(vg.Point{X: -5}))
		}, "start and route of the module's cable"})
	}
	return keys
}

// LackingKey explains the sign that stands for letters the font lacks, if a name
// of the craft needs it.
func LackingKey(c *survey.Craft) []Key {
	var p Picture
	g := NewPen(&p)
	var names strings.Builder
	names.WriteString(c.Name + c.Module.Name)
	for _, n := range c.StationNames() {
		names.WriteString(n)
	}
	for _, part := range c.Parts {
		names.WriteString(part.Name)
	}
	for _, k := range c.Keepouts {
		names.WriteString(k.Name)
	}
	for _, l := range c.Loads {
		names.WriteString(l.Name)
	}
	if g.printable(names.String()); !g.lacking {
		return nil
	}
	return []Key{{nil, string(noGlyph) + " stands for a letter that the picture's font lacks, " + string(noGlyph) + "×5 for five; beside it stands the place, x and y in mm. Tables and JSON show the name in full"}}
}
