package report

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

	"quietmount/survey"
	"quietmount/survey/findings"
)

// Change draws the signed map of what changed between two surveys: by how much
// the level part of the disturbance, the one that turns a compass, grew or
// shrank, what is common to all stations taken out. Without a map on both
// sides the stations alone are coloured.
func Change(c *findings.Comparison) *Picture {
	g := &changing{c: c, craft: c.Before.Craft}
	return g.draw()
}

// changing is a map of change in the making.
type changing struct {
	c      *findings.Comparison
	craft  *survey.Craft
	page   *page
	ramp   twoWay
	values *lattice // nil: no map
	doubt  *lattice // positive where the colour is within the map's own uncertainty
	near   *lattice // positive where the sensor is too near to a lead for a value
	nears  bool     // somewhere on the craft it is
	at     []float64
}

func (g *changing) draw() *Picture {
	pic := newPicture(fmt.Sprintf("%s: change of the %s part", named(g.craft.Name), g.c.Part), g.words())
	if day, err := time.Parse(time.DateOnly, g.c.After.Date); err == nil {
		pic.dated = day
	}
	for _, s := range g.c.Stations {
		g.at = append(g.at, levelChange(s.Before, r3.Sub(s.After, g.c.Result.Common.At(s.Before))))
	}
	g.predict()
	g.ramp = newTwoWay(g.seen(), g.c.RepeatabilityUT())
	g.page = newPage(pic, g.craft, g.head(), barSide, 0, g.keys())
	g.ground()
	p := g.page
	p.directions()
	p.scaleBar()
	p.keepouts(g.craft)
	p.leads(g.craft)
	p.outline(g.craft)
	p.parts(g.craft)
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
		n, counted(len(g.c.Stations), "station"), short(rounded(g.c.RepeatabilityUT())))
}

func rounded(v float64) float64 { return math.Round(v*10) / 10 }

func (g *changing) head() []string {
	u := g.c.Result.Common.UniformUT
	return []string{
		fmt.Sprintf("Red: the level part of the disturbance grew, blue: it shrank. White: by less than %s µT, what two surveys differ by anyway.", short(rounded(g.ramp.band))),
		fmt.Sprintf("Taken out as common to all: %s, %s, %s µT. A change that is alike everywhere cannot be seen.", signed(u.X), signed(u.Y), signed(u.Z)),
	}
}

func (g *changing) keys() []key {
	keys := []key{
		outlineKey(),
		{func(p *pen, at vg.Point) { p.disc(at, 3, g.ramp.shade(0.6), black, 0.9) }, "station, within chance"},
		{func(p *pen, at vg.Point) {
			p.disc(at, 3, g.ramp.shade(0.6), black, 0.9)
			p.ring(at, 5.4, black, 1.8)
		}, "station that changed beyond chance"},
	}
	if len(g.c.Sources) > 0 {
		keys = append(keys, key{crossMark, "a new magnet, or one moved or gone, seems to be here"})
	}
	if g.values != nil {
		keys = append(keys,
			key{func(p *pen, at vg.Point) {
				box := boxAround(at, 10, 4.5)
				p.hatched(box, 4, -math.Pi/4, black)
				p.loop(box, 0.5, black)
			}, "slanted lines: the change between the stations is within the map's own uncertainty"},
			key{func(p *pen, at vg.Point) { p.line(level(at, 11), 0.8, black) }, "grew by this many µT (solid)"},
			key{func(p *pen, at vg.Point) { p.line(level(at, 11), 0.8, black, 3, 2) }, "shrank by this many µT (dashed)"})
	}
	if g.nears {
		keys = append(keys, nearKey())
	}
	return append(keys, thingKeys(g.craft)...)
}

func crossMark(p *pen, at vg.Point) {
	cross := func(width float64, ink color.Color) {
		p.line([]vg.Point{at.Add(vg.Point{X: -5, Y: -5}), at.Add(vg.Point{X: 5, Y: 5})}, width, ink)
		p.line([]vg.Point{at.Add(vg.Point{X: -5, Y: 5}), at.Add(vg.Point{X: 5, Y: -5})}, width, ink)
	}
	cross(4, white)
	cross(2, black)
}

// predict lays the change over the outline.
func (g *changing) predict() {
	l := latticeOver(g.craft.Body.OutlineMM.Bounds())
	surface := g.craft.Surface()
	points := make([]r3.Vec, 0, l.nx*l.ny)
	for j := range l.ny {
		for i := range l.nx {
			p := l.place(i, j)
			points = append(points, g.craft.Measures().SensorAt(r3.Vec{X: p.Y, Y: p.X, Z: surface.Z(p.Y, p.X)}, 0))
		}
	}
	before, after, sd := g.c.FieldChange(points)
	if before == nil {
		return
	}
	doubt := *l
	l.v, doubt.v = make([]float64, len(points)), make([]float64, len(points))
	band := max(g.c.RepeatabilityUT(), 1e-3)
	for i := range points {
		v := levelChange(before[i], after[i])
		if math.IsNaN(v) || math.IsNaN(sd[i]) {
			doubt.v[i] = 1
			continue
		}
		l.v[i] = v
		size := max(sd[i], 1e-9)
		doubt.v[i] = min(max(min(math.Log(size/max(math.Abs(v), 1e-9)), math.Log(size/(2*band))), -1), 1)
	}
	g.doubt, g.near = &doubt, nearLattice(g.craft, l, points)
	for i, v := range g.near.v {
		p := l.place(i%l.nx, i/l.nx)
		g.nears = g.nears || v > 0 && g.craft.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X})
	}
	g.values = l.refined(max(1, heatFine/max(l.nx, l.ny)))
}

// seen are the values that the colours must span.
func (g *changing) seen() []float64 {
	out := slices.Clone(g.at)
	if g.values != nil {
		for j := range g.values.ny {
			for i := range g.values.nx {
				if p := g.values.place(i, j); g.near.bilinear(p.X, p.Y) <= 0 && g.craft.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X}) {
					out = append(out, g.values.at(i, j))
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
	img := image.NewRGBA(image.Rect(0, 0, l.nx, l.ny))
	for j := range l.ny {
		for i := range l.nx {
			ink := g.ramp.color(l.at(i, j))
			if p := l.place(i, j); g.nears && g.near.bilinear(p.X, p.Y) > 0 {
				ink = white
			}
			img.Set(i, l.ny-1-j, ink)
		}
	}
	half := r2.Vec{X: l.dx / 2, Y: l.dy / 2}
	m := &mapping{c: g.craft, page: g.page, heat: heat{near: g.near, nears: g.nears}}
	low := m.paper(r2.Sub(l.place(0, 0), half))
	high := m.paper(r2.Add(l.place(l.nx-1, l.ny-1), half))
	g.page.image(vg.Rectangle{Min: low, Max: high}, img)
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
				g.page.line(path, 2, white)
				if v < 0 {
					g.page.line(path, 0.8, black, 3, 2)
				} else {
					g.page.line(path, 0.8, black)
				}
			}
		}
	}
}

// lines are the lines of a value, short scraps left out.
func (g *changing) lines(v float64) [][]r2.Vec {
	return slices.DeleteFunc(g.values.contour(v), func(l []r2.Vec) bool { return len(l) < 6 })
}

func (g *changing) all() []survey.Station {
	out := make([]survey.Station, len(g.c.Stations))
	for i, s := range g.c.Stations {
		out[i] = s.Station
	}
	return out
}

func (g *changing) radius() float64 {
	return min(max(g.page.spacing(g.all())/7, 1.6), 5)
}

func (g *changing) stations() {
	p, radius := g.page, g.radius()
	for i, s := range g.c.Stations {
		at := p.frame.at(flat(s.Station.At))
		p.disc(at, radius+0.9, white, white, 0)
		p.disc(at, radius, g.ramp.color(g.at[i]), black, 0.9)
		reach := radius + 0.9
		if s.Test.Significant {
			p.ring(at, radius+2.4, white, 3.2)
			p.ring(at, radius+2.4, black, 1.8)
			reach = radius + 3.4
		}
		p.labels.takeAround(at, reach)
	}
}

func (g *changing) sources() {
	for _, s := range g.c.Sources {
		at := g.page.frame.at(flat(s.AtMM))
		crossMark(g.page.pen, at)
		g.page.labels.takeAround(at, 6)
		g.page.pic.note("source at %.0f, %.0f mm", s.AtMM.X, s.AtMM.Y)
	}
}

// names writes each station's name and, where it changed, by how much.
func (g *changing) names() {
	p := g.page
	size := min(max(p.spacing(g.all())/4.6, 5), 7.5)
	for i, s := range g.c.Stations {
		name := p.placed(s.Station.Name, flat(s.Station.At))
		if s.Test.Significant {
			name += " " + signed(g.at[i])
		}
		p.label(p.frame.at(flat(s.Station.At)), name, style{size: size, halo: 1, bold: s.Test.Significant}, g.radius()+2, g.radius()+8)
	}
}

// bar draws the colour bar: growth on top.
func (g *changing) bar() {
	p, r := g.page, g.ramp
	height := max(90, min(float64(p.frame.region.Size().Y)-2*padTop-16, 260))
	middle := (p.frame.region.Min.Y + p.frame.region.Max.Y).Points() / 2
	low, high := middle-height/2, middle+height/2
	title := "change of the level disturbance, µT"
	x := min(p.across-margin-40, p.frame.at(p.frame.box.Max).X.Points()+60)
	rect := vg.Rectangle{Min: vg.Point{X: vg.Points(x), Y: vg.Points(low)}, Max: vg.Point{X: vg.Points(x + 12), Y: vg.Points(high)}}
	p.pic.bar = rect
	p.image(rect, r.bar())
	p.loop([]vg.Point{rect.Min, {X: rect.Max.X, Y: rect.Min.Y}, rect.Max, {X: rect.Min.X, Y: rect.Max.Y}}, 0.7, black)
	for _, v := range r.ticks() {
		at := vg.Point{X: rect.Max.X, Y: vg.Points(middle + height/2*r.share(v))}
		p.line([]vg.Point{at, at.Add(vg.Point{X: 3})}, 0.7, black)
		words := short(v)
		switch {
		case r.over && v == r.most:
			words = "over +" + words
		case v > 0:
			words = "+" + words
		}
		p.text(at.Add(vg.Point{X: 5}), words, style{size: textSize, low: 0.5})
		p.pic.note("tick %s at %.1f", words, at.Y.Points())
	}
	for i, line := range p.wrapped(title, textSize, height) {
		side := vg.Point{X: rect.Min.X - vg.Points(6+leading*float64(i)), Y: vg.Points(middle)}
		p.text(side, line, style{size: textSize, left: 0.5, turn: quarterTurn})
	}
	p.pic.note("bar %s either way, white within %s", short(r.most), short(rounded(r.band)))
}
