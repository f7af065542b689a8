package picture

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/compare"
)

// Change draws what changed between two surveys: by how much the level part of
// the disturbance, which turns a compass, grew or shrank, after the change common
// to all stations is taken out. If only stations can be compared, it colours
// those alone. The error is that of ctx.
func Change(ctx context.Context, c *compare.Comparison) (*draw.Picture, error) {
	g := &changing{c: c, ground: ground{craft: c.Before.Craft}}
	return g.draw(ctx)
}

// changing is the state of drawing one map of change.
type changing struct {
	ground
	c    *compare.Comparison
	ramp twoWay
	at   []float64 // the change at each station, µT
}

func (g *changing) draw(ctx context.Context) (*draw.Picture, error) {
	pic := newPicture(fmt.Sprintf("%s: change of the %s part", say.Named(g.craft.Name), g.c.Part), g.words(), g.c.After.Date)
	for _, s := range g.c.Stations {
		g.at = append(g.at, levelChange(s.Before, r3.Sub(s.After, g.c.Result.Common.At(s.Before))))
	}
	if err := g.predict(ctx); err != nil {
		return nil, err
	}
	g.ramp = newTwoWay(g.seen(), g.c.RepeatabilityUT())
	g.page = draw.CraftPage(pic, g.craft, g.head(), barSide, 0, g.keys())
	if g.value != nil {
		g.lay(g.ramp.color, g.contours)
	}
	p := g.page
	p.Directions()
	p.ScaleBar()
	p.Keepouts(g.craft)
	p.Leads(g.craft)
	p.Outline(g.craft)
	p.Parts(g.craft)
	g.stations()
	g.sources()
	g.names()
	p.BarBeside(g.ramp.bar(), "change of the level disturbance, µT")
	return pic, nil
}

// levelChange returns by how much the level part of a vector grew.
func levelChange(before, after r3.Vec) float64 {
	return math.Hypot(after.X, after.Y) - math.Hypot(before.X, before.Y)
}

// words returns the text alternative.
func (g *changing) words() string {
	n := len(g.c.Named())
	return fmt.Sprintf("The craft seen from above, nose up. %d of %s changed. White: within %s µT, the repeatability of a survey.",
		n, say.Counted(len(g.c.Stations), "station"), say.Tenths(g.c.RepeatabilityUT()))
}

// head returns the lines under the title.
func (g *changing) head() []string {
	u := g.c.Result.Common.UniformUT
	return []string{
		fmt.Sprintf("Red: the level part of the disturbance grew, blue: it shrank. White: by less than %s µT, the repeatability of a survey.", say.Tenths(g.ramp.band)),
		fmt.Sprintf("Removed as common to all stations: %s, %s, %s µT. A change that is the same everywhere cannot be detected.", say.Signed(u.X), say.Signed(u.Y), say.Signed(u.Z)),
	}
}

// keys returns the legend.
func (g *changing) keys() []draw.Key {
	keys := []draw.Key{
		draw.OutlineKey(),
		{Draw: func(p *draw.Pen, at vg.Point) { p.Disc(at, 3, g.ramp.shade(0.6), draw.Black, 0.9) }, Words: "station, within chance"},
		{Draw: func(p *draw.Pen, at vg.Point) {
			p.Disc(at, 3, g.ramp.shade(0.6), draw.Black, 0.9)
			p.Ring(at, 5.4, draw.Black, 1.8)
		}, Words: "station that changed beyond chance"},
	}
	if len(g.c.Sources) > 0 {
		keys = append(keys, draw.Key{Draw: crossMark, Words: "probable place of a magnet that was added, moved or removed"})
	}
	if g.value != nil {
		keys = append(keys,
			draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
				box := draw.BoxAround(at, 10, 4.5)
				p.Hatched(box, 4, -math.Pi/4, draw.Black)
				p.Loop(box, 0.5, draw.Black)
			}, Words: "slanted lines: the change between the stations is within the map's own uncertainty"},
			draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Line(draw.Level(at, 11), 0.8, draw.Black) }, Words: "solid line: growth by a value marked on the bar"},
			draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Line(draw.Level(at, 11), 0.8, draw.Black, 3, 2) }, Words: "dashed line: decrease by a value marked on the bar"})
	}
	if g.nears {
		keys = append(keys, nearKey())
	}
	return append(keys, draw.ThingKeys(g.craft)...)
}

// crossMark marks the place of a source.
func crossMark(p *draw.Pen, at vg.Point) {
	up, down := vg.Point{X: 5, Y: 5}, vg.Point{X: 5, Y: -5}
	for _, arm := range []vg.Point{up, down} {
		p.Line([]vg.Point{at.Sub(arm), at.Add(arm)}, 4, draw.White)
	}
	for _, arm := range []vg.Point{up, down} {
		p.Line([]vg.Point{at.Sub(arm), at.Add(arm)}, 2, draw.Black)
	}
}

// predict predicts the change over the outline, and where it is uncertain.
func (g *changing) predict(ctx context.Context) error {
	l := latticeOver(g.craft.Body.OutlineMM.Bounds())
	points := sensorsOver(g.craft, g.craft.MeasuringModule(), l, 0)
	before, after, sd, err := g.c.FieldChange(ctx, points)
	if err != nil || before == nil {
		return err
	}
	doubt := *l
	l.V, doubt.V = make([]float64, len(points)), make([]float64, len(points))
	band := max(g.c.RepeatabilityUT(), 1e-3)
	for i := range points {
		v := levelChange(before[i], after[i])
		if math.IsNaN(v) || math.IsNaN(sd[i]) {
			doubt.V[i] = 1
			continue
		}
		l.V[i] = v
		size := max(sd[i], 1e-9)
		doubt.V[i] = min(max(min(math.Log(size/max(math.Abs(v), 1e-9)), math.Log(size/(2*band))), -1), 1)
	}
	g.doubt, g.near = &doubt, nearLattice(g.craft, l, points)
	for i, v := range g.near.V {
		g.nears = g.nears || v > 0 && onCraft(g.craft, l, i)
	}
	g.value = fine(l)
	return nil
}

// seen returns the values that the colours must span.
func (g *changing) seen() []float64 {
	out := slices.Clone(g.at)
	if l := g.value; l != nil {
		for k, v := range l.V {
			if onCraft(g.craft, l, k) && g.near.Bilinear(l.Place(k%l.NX, k/l.NX).X, l.Place(k%l.NX, k/l.NX).Y) <= 0 {
				out = append(out, v)
			}
		}
	}
	return out
}

// contours draws the lines at the bar's ticks, solid where the disturbance grew
// and dashed where it shrank, so that the sign survives grey print. It leaves
// scraps of fewer than six points out.
func (g *changing) contours() {
	for _, v := range g.ramp.ticks() {
		if math.Abs(v) <= g.ramp.band {
			continue
		}
		var dashes []vg.Length
		if v < 0 {
			dashes = []vg.Length{3, 2}
		}
		for _, line := range g.value.Lines(v) {
			if len(line) < 6 {
				continue
			}
			for _, path := range g.clear(line) {
				g.page.Edged(path, 2, 0.8, draw.Black, dashes...)
			}
		}
	}
}

// all returns the stations that were compared.
func (g *changing) all() []survey.Station {
	out := make([]survey.Station, len(g.c.Stations))
	for i, s := range g.c.Stations {
		out[i] = s.Station
	}
	return out
}

// radius returns the radius of a station's disc, points.
func (g *changing) radius() float64 {
	return min(max(g.page.Spacing(g.all())/7, 1.6), 5)
}

// stations draws the stations, those that changed beyond chance with a ring.
func (g *changing) stations() {
	p, radius := g.page, g.radius()
	for i, s := range g.c.Stations {
		at := p.Frame.At(draw.Flat(s.Station.At))
		p.Disc(at, radius+0.9, draw.White, draw.White, 0)
		p.Disc(at, radius, g.ramp.color(g.at[i]), draw.Black, 0.9)
		reach := radius + 0.9
		if s.Test.Significant {
			p.Ring(at, radius+2.4, draw.White, 3.2)
			p.Ring(at, radius+2.4, draw.Black, 1.8)
			reach = radius + 3.4
		}
		p.Labels.TakeAround(at, reach)
	}
}

// sources marks where a source was added, moved or removed.
func (g *changing) sources() {
	for _, s := range g.c.Sources {
		at := g.page.Frame.At(draw.Flat(s.AtMM))
		crossMark(g.page.Pen, at)
		g.page.Labels.TakeAround(at, 6)
		g.page.Picture.Note("source at %.0f, %.0f mm", s.AtMM.X, s.AtMM.Y)
	}
}

// names writes each station's name and, where it changed beyond chance, by how
// much.
func (g *changing) names() {
	p := g.page
	size := min(max(p.Spacing(g.all())/4.6, 5), 7.5)
	for i, s := range g.c.Stations {
		name := p.Placed(s.Station.Name, draw.Flat(s.Station.At))
		if s.Test.Significant {
			name += " " + say.Signed(g.at[i])
		}
		p.Label(p.Frame.At(draw.Flat(s.Station.At)), name, draw.Style{Size: size, Halo: 1, Bold: s.Test.Significant}, g.radius()+2, g.radius()+8)
	}
}
