package picture

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/vg"

	"quietmount/report/contour"
	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// Change draws the signed map of what changed between two surveys: by how much
// the level part of the disturbance, the one that turns a compass, grew or
// shrank, what is common to all stations taken out. Without a map on both
// sides the stations alone are coloured.
func Change(c *findings.Comparison) *draw.Picture {
	g := &changing{c: c, craft: c.Before.Craft}
	return g.draw()
}

// changing is a map of change in the making.
type changing struct {
	c      *findings.Comparison
	craft  *survey.Craft
	page   *draw.Page
	ramp   twoWay
	values *contour.Lattice // nil: no map
	doubt  *contour.Lattice // positive where the colour is within the map's own uncertainty
	near   *contour.Lattice // positive where the sensor is too near to a lead for a value
	nears  bool             // somewhere on the craft it is
	at     []float64
}

func (g *changing) draw() *draw.Picture {
	pic := draw.New(fmt.Sprintf("%s: change of the %s part", say.Named(g.craft.Name), g.c.Part), g.words())
	if day, err := time.Parse(time.DateOnly, g.c.After.Date); err == nil {
		pic.Dated = day
	}
	for _, s := range g.c.Stations {
		g.at = append(g.at, levelChange(s.Before, r3.Sub(s.After, g.c.Result.Common.At(s.Before))))
	}
	g.predict()
	g.ramp = newTwoWay(g.seen(), g.c.RepeatabilityUT())
	g.page = draw.CraftPage(pic, g.craft, g.head(), barSide, 0, g.keys())
	g.ground()
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
	g.bar()
	return pic
}

// levelChange is by how much the level part of a vector grew.
func levelChange(before, after r3.Vec) float64 {
	return math.Hypot(after.X, after.Y) - math.Hypot(before.X, before.Y)
}

func (g *changing) words() string {
	n := len(g.c.Named())
	return fmt.Sprintf("The craft seen from above, nose up. %d of %s changed. White: within %s µT, what two surveys of one craft differ by anyway.",
		n, say.Counted(len(g.c.Stations), "station"), say.Short(rounded(g.c.RepeatabilityUT())))
}

func rounded(v float64) float64 { return math.Round(v*10) / 10 }

func (g *changing) head() []string {
	u := g.c.Result.Common.UniformUT
	return []string{
		fmt.Sprintf("Red: the level part of the disturbance grew, blue: it shrank. White: by less than %s µT, what two surveys differ by anyway.", say.Short(rounded(g.ramp.band))),
		fmt.Sprintf("Taken out as common to all: %s, %s, %s µT. A change that is alike everywhere cannot be seen.", say.Signed(u.X), say.Signed(u.Y), say.Signed(u.Z)),
	}
}

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
		keys = append(keys, draw.Key{Draw: crossMark, Words: "a new magnet, or one moved or gone, seems to be here"})
	}
	if g.values != nil {
		keys = append(keys,
			draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
				box := draw.BoxAround(at, 10, 4.5)
				p.Hatched(box, 4, -math.Pi/4, draw.Black)
				p.Loop(box, 0.5, draw.Black)
			}, Words: "slanted lines: the change between the stations is within the map's own uncertainty"},
			draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Line(draw.Level(at, 11), 0.8, draw.Black) }, Words: "grew by this many µT (solid)"},
			draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Line(draw.Level(at, 11), 0.8, draw.Black, 3, 2) }, Words: "shrank by this many µT (dashed)"})
	}
	if g.nears {
		keys = append(keys, nearKey())
	}
	return append(keys, draw.ThingKeys(g.craft)...)
}

func crossMark(p *draw.Pen, at vg.Point) {
	cross := func(width float64, ink color.Color) {
		p.Line([]vg.Point{at.Add(vg.Point{X: -5, Y: -5}), at.Add(vg.Point{X: 5, Y: 5})}, width, ink)
		p.Line([]vg.Point{at.Add(vg.Point{X: -5, Y: 5}), at.Add(vg.Point{X: 5, Y: -5})}, width, ink)
	}
	cross(4, draw.White)
	cross(2, draw.Black)
}

// predict lays the change over the outline.
func (g *changing) predict() {
	l := latticeOver(g.craft.Body.OutlineMM.Bounds())
	surface := g.craft.Surface()
	points := make([]r3.Vec, 0, l.NX*l.NY)
	for j := range l.NY {
		for i := range l.NX {
			p := l.Place(i, j)
			points = append(points, g.craft.Measures().SensorAt(r3.Vec{X: p.Y, Y: p.X, Z: surface.Z(p.Y, p.X)}, 0))
		}
	}
	before, after, sd := g.c.FieldChange(points)
	if before == nil {
		return
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
		p := l.Place(i%l.NX, i/l.NX)
		g.nears = g.nears || v > 0 && g.craft.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X})
	}
	g.values = l.Refined(max(1, heatFine/max(l.NX, l.NY)))
}

// seen are the values that the colours must span.
func (g *changing) seen() []float64 {
	out := slices.Clone(g.at)
	if g.values != nil {
		for j := range g.values.NY {
			for i := range g.values.NX {
				if p := g.values.Place(i, j); g.near.Bilinear(p.X, p.Y) <= 0 && g.craft.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X}) {
					out = append(out, g.values.At(i, j))
				}
			}
		}
	}
	return out
}

func (g *changing) ground() {
	l := g.values
	if l == nil {
		return
	}
	img := image.NewRGBA(image.Rect(0, 0, l.NX, l.NY))
	for j := range l.NY {
		for i := range l.NX {
			ink := g.ramp.color(l.At(i, j))
			if p := l.Place(i, j); g.nears && g.near.Bilinear(p.X, p.Y) > 0 {
				ink = draw.White
			}
			img.Set(i, l.NY-1-j, ink)
		}
	}
	half := r2.Vec{X: l.DX / 2, Y: l.DY / 2}
	m := &mapping{c: g.craft, page: g.page, heat: heat{near: g.near, nears: g.nears}}
	low := m.paper(r2.Sub(l.Place(0, 0), half))
	high := m.paper(r2.Add(l.Place(l.NX-1, l.NY-1), half))
	g.page.Image(vg.Rectangle{Min: low, Max: high}, img)
	m.heat.doubt = g.doubt
	m.doubtHatch(vg.Rectangle{Min: low, Max: high})
	g.contours(m)
	m.nearLeads(vg.Rectangle{Min: low, Max: high})
	m.cover(low, high)
}

// contours draws the lines of the bar's ticks, solid where the disturbance
// grew and dashed where it shrank, so that the sign survives grey print.
func (g *changing) contours(m *mapping) {
	for _, v := range g.ramp.ticks() {
		if math.Abs(v) <= g.ramp.band {
			continue
		}
		for _, line := range g.lines(v) {
			for _, path := range m.clear(line) {
				g.page.Line(path, 2, draw.White)
				if v < 0 {
					g.page.Line(path, 0.8, draw.Black, 3, 2)
				} else {
					g.page.Line(path, 0.8, draw.Black)
				}
			}
		}
	}
}

// lines are the lines of a value, short scraps left out.
func (g *changing) lines(v float64) [][]r2.Vec {
	return slices.DeleteFunc(g.values.Lines(v), func(l []r2.Vec) bool { return len(l) < 6 })
}

func (g *changing) all() []survey.Station {
	out := make([]survey.Station, len(g.c.Stations))
	for i, s := range g.c.Stations {
		out[i] = s.Station
	}
	return out
}

func (g *changing) radius() float64 {
	return min(max(g.page.Spacing(g.all())/7, 1.6), 5)
}

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

func (g *changing) sources() {
	for _, s := range g.c.Sources {
		at := g.page.Frame.At(draw.Flat(s.AtMM))
		crossMark(g.page.Pen, at)
		g.page.Labels.TakeAround(at, 6)
		g.page.Picture.Note("source at %.0f, %.0f mm", s.AtMM.X, s.AtMM.Y)
	}
}

// names writes each station's name and, where it changed, by how much.
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

// bar draws the colour bar: growth on top.
func (g *changing) bar() {
	p, r := g.page, g.ramp
	height := max(90, min(float64(p.Frame.Region.Size().Y)-2*draw.PadTop-16, 260))
	middle := (p.Frame.Region.Min.Y + p.Frame.Region.Max.Y).Points() / 2
	low, high := middle-height/2, middle+height/2
	title := "change of the level disturbance, µT"
	x := min(p.Across-draw.Margin-40, p.Frame.At(p.Frame.Box.Max).X.Points()+60)
	rect := vg.Rectangle{Min: vg.Point{X: vg.Points(x), Y: vg.Points(low)}, Max: vg.Point{X: vg.Points(x + 12), Y: vg.Points(high)}}
	p.Picture.Bar = rect
	p.Image(rect, r.bar())
	p.Loop([]vg.Point{rect.Min, {X: rect.Max.X, Y: rect.Min.Y}, rect.Max, {X: rect.Min.X, Y: rect.Max.Y}}, 0.7, draw.Black)
	for _, v := range r.ticks() {
		at := vg.Point{X: rect.Max.X, Y: vg.Points(middle + height/2*r.share(v))}
		p.Line([]vg.Point{at, at.Add(vg.Point{X: 3})}, 0.7, draw.Black)
		words := say.Short(v)
		switch {
		case r.over && v == r.most:
			words = "over +" + words
		case v > 0:
			words = "+" + words
		}
		p.Text(at.Add(vg.Point{X: 5}), words, draw.Style{Size: draw.TextSize, Low: 0.5})
		p.Picture.Note("tick %s at %.1f", words, at.Y.Points())
	}
	for i, line := range p.Wrapped(title, draw.TextSize, height) {
		side := vg.Point{X: rect.Min.X - vg.Points(6+draw.Leading*float64(i)), Y: vg.Points(middle)}
		p.Text(side, line, draw.Style{Size: draw.TextSize, Left: 0.5, Turn: draw.QuarterTurn})
	}
	p.Picture.Note("bar %s either way, white within %s", say.Short(r.most), say.Short(rounded(r.band)))
}
