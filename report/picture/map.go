// Package picture draws what was described, measured and found: the craft, its
// maps and what changed between two of them, a load's chart, the sphere of a
// calibration, the deviation card. It finds out nothing by itself: what a map
// shows between the stations it asks of the findings' own fields.
package picture

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// MapOptions say what Map draws.
type MapOptions struct {
	Part     string   // shifting, steady, magnitude or a load's name; empty: shifting if measured
	HeightMM *float64 // the mounting height; nil: the first of the craft file
	Narrow   bool     // for the screen of a phone
}

// Map draws what a compass would suffer over the craft, seen from above, nose
// up. Ranking may be nil: then no spots are marked. It fails where the part
// was not measured and says what can be drawn.
func Map(f *findings.Findings, ranking *findings.Ranking, o MapOptions) (*draw.Picture, error) {
	m, err := newMapping(f, ranking, o)
	if err != nil {
		return nil, err
	}
	return m.draw(), nil
}

func newMapping(f *findings.Findings, ranking *findings.Ranking, o MapOptions) (*mapping, error) {
	q, err := quantityOf(f, o.Part)
	if err != nil {
		return nil, err
	}
	m := &mapping{f: f, c: f.Craft, q: q, narrow: o.Narrow}
	if m.height, err = o.height(f.Craft); err != nil {
		return nil, err
	}
	if q.at != nil && ranking != nil {
		m.spots = ranking.Spots
	}
	return m, nil
}

// mapping is a map in the making.
type mapping struct {
	f     *findings.Findings
	c     *survey.Craft
	q     quantity
	heat  heat
	ramp  draw.Ramp
	spots []findings.Spot
	page  *draw.Page

	height float64 // above the surface, mm
	narrow bool
}

// height is the mounting height to draw.
func (o MapOptions) height(c *survey.Craft) (float64, error) {
	all := heightsOf(c)
	if o.HeightMM == nil {
		return all[0], nil
	}
	if slices.Contains(all, *o.HeightMM) {
		return *o.HeightMM, nil
	}
	return 0, fmt.Errorf("the craft file has no mounting height of %g mm; there is: %s mm", *o.HeightMM, heightList(all))
}

// heightsOf are the heights at which the module may stand, at least one.
func heightsOf(c *survey.Craft) []float64 {
	if len(c.Heights) == 0 {
		return []float64{0}
	}
	return c.Heights
}

// heightWords names the height where there is a choice of them.
func (m *mapping) heightWords() string {
	if len(m.c.Heights) < 2 || m.q.at == nil {
		return ""
	}
	return " at " + say.Short(m.height) + " mm"
}

func heightList(all []float64) string {
	words := make([]string, len(all))
	for i, h := range all {
		words[i] = say.Short(h)
	}
	return say.Listed(words)
}

const barSide = 76 // width of the column for the colour bar

func (m *mapping) draw() *draw.Picture {
	m.scale()
	return m.picture()
}

// picture draws what scale has fitted.
func (m *mapping) picture() *draw.Picture {
	pic := draw.New(fmt.Sprintf("%s: %s%s, %s", say.Named(m.c.Name), m.q.title, m.heightWords(), m.f.Date), m.words())
	pic.Narrow = m.narrow
	if day, err := time.Parse(time.DateOnly, m.f.Date); err == nil {
		pic.Dated = day
	}
	m.page = draw.CraftPage(pic, m.c, m.head(), barSide, 0, m.keys())
	m.ground()
	m.page.Directions()
	m.page.ScaleBar()
	m.things()
	m.names()
	m.bar()
	m.page.LeftOut()
	return pic
}

// scale predicts what is drawn and fits the colours to it.
func (m *mapping) scale() {
	if m.q.at != nil {
		m.heat = newHeat(m.c, m.q, m.height)
		m.ramp = draw.NewRamp(m.heat.shown, m.q.limit)
	} else {
		var sizes []float64
		for _, s := range m.f.Stations {
			if v := math.Abs(m.q.station(s)); v > 0 {
				sizes = append(sizes, v)
			}
		}
		slices.Sort(sizes)
		m.ramp = draw.NewRamp(sizes, 0)
	}
	m.ramp.Title, m.ramp.Units = m.q.legend, m.q.unit
}

// ground draws the colours, where they are doubtful, and the lines of equal
// value, and covers what lies outside the outline.
func (m *mapping) ground() {
	if m.q.at == nil {
		return
	}
	g, l := m.page, m.heat.value
	half := r2.Vec{X: l.DX / 2, Y: l.DY / 2}
	low := m.paper(r2.Sub(l.Place(0, 0), half))
	high := m.paper(r2.Add(l.Place(l.NX-1, l.NY-1), half))
	g.Image(vg.Rectangle{Min: low, Max: high}, m.heat.image(m.ramp))
	box := vg.Rectangle{Min: low, Max: high}
	m.doubtHatch(box)
	lines := m.contours()
	m.nearLeads(box)
	m.cover(low, high)
	m.contourNames(lines)
}

// paper is the place on paper of a place of the lattice.
func (m *mapping) paper(p r2.Vec) vg.Point { return m.page.Frame.At(r2.Vec{X: p.Y, Y: p.X}) }

// cover whitens the box around the image except for the outline.
func (m *mapping) cover(low, high vg.Point) {
	rim := vg.Point{X: 3, Y: 3}
	a, b := low.Sub(rim), high.Add(rim)
	box := []vg.Point{a, {X: b.X, Y: a.Y}, b, {X: a.X, Y: b.Y}}
	hole := m.page.Frame.All(m.c.Body.OutlineMM)
	if draw.Area(hole) > 0 {
		slices.Reverse(hole) // the box runs counterclockwise
	}
	m.page.Fill(draw.White, box, hole)
}

// doubtHatch slants lines over the places where the map is not to be trusted.
func (m *mapping) doubtHatch(box vg.Rectangle) {
	corners := []vg.Point{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}}
	var runs [][]vg.Point
	for _, s := range draw.Hatching(corners, 6, -math.Pi/4) {
		runs = append(runs, m.within(s, m.doubtful)...)
	}
	for _, r := range runs {
		m.page.Line(r, 1.5, draw.White)
	}
	for _, r := range runs {
		m.page.Line(r, 0.5, draw.Black)
	}
	m.page.Picture.Note("doubt hatch: %d lines", len(runs))
}

// doubtful and tooNear ask of a place of the lattice.
func (m *mapping) doubtful(p r2.Vec) bool {
	return m.heat.doubt.Bilinear(p.X, p.Y) > 0 && !(m.heat.nears && m.tooNear(p))
}

func (m *mapping) tooNear(p r2.Vec) bool { return m.heat.near.Bilinear(p.X, p.Y) > 0 }

// nearLeads crosses out what is too near to a lead for a value.
func (m *mapping) nearLeads(box vg.Rectangle) {
	if !m.heat.nears {
		return
	}
	corners := []vg.Point{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}}
	n := 0
	for _, angle := range []float64{math.Pi / 4, -math.Pi / 4} {
		for _, s := range draw.Hatching(corners, 3.5, angle) {
			for _, run := range m.within(s, m.tooNear) {
				m.page.Line(run, 0.4, draw.Grey)
				n++
			}
		}
	}
	for _, l := range m.heat.near.Lines(0) {
		rim := make([]vg.Point, len(l))
		for i, p := range l {
			rim[i] = m.paper(p)
		}
		m.page.Line(rim, 0.7, draw.Black)
	}
	m.page.Picture.Note("too near to a lead: %d lines", n)
}

// within are the pieces of a line on paper whose places pass.
func (m *mapping) within(s [2]vg.Point, passes func(r2.Vec) bool) [][]vg.Point {
	f := m.page.Frame
	origin, k := f.At(r2.Vec{}), f.Scale
	span := s[1].Sub(s[0])
	n := int(math.Hypot(span.X.Points(), span.Y.Points())/1.5) + 1
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
		at := p.Sub(origin)
		if !passes(r2.Vec{X: at.X.Points() / k, Y: at.Y.Points() / k}) {
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

// things draws what is on the craft.
func (m *mapping) things() {
	g, c := m.page, m.c
	g.Keepouts(c)
	g.Leads(c)
	g.Cable(c)
	g.Outline(c)
	if m.q.at == nil { // the discs are larger than a part
		m.stations()
		g.Parts(c)
		return
	}
	g.Parts(c)
	m.spotMarks()
	m.stations()
}

// stations draws the stations: ringed white on a map, coloured where there is
// no map, struck out where the part was not measured.
func (m *mapping) stations() {
	g := m.page
	all := stationsOf(m.f)
	radius := g.StationRadius(all)
	if m.q.at == nil {
		radius = m.discRadius(all)
	}
	for _, s := range m.f.Stations {
		at, v := g.Frame.At(draw.Flat(s.Station.At)), m.q.station(s)
		fill := m.ramp.Color(math.NaN())
		if m.q.at == nil && !math.IsNaN(v) {
			fill = m.ramp.Color(math.Abs(v))
		}
		g.Disc(at, radius+0.9, draw.White, draw.White, 0)
		g.Disc(at, radius, fill, draw.Black, 0.9)
		if math.IsNaN(v) {
			d := vg.Points(radius * 0.7)
			g.Line([]vg.Point{at.Add(vg.Point{X: -d, Y: -d}), at.Add(vg.Point{X: d, Y: d})}, 0.9, draw.Black)
		}
		g.Labels.TakeAround(at, radius+0.8)
	}
}

// discRadius is the radius of a station that carries a colour, points.
func (m *mapping) discRadius(all []survey.Station) float64 {
	return min(max(m.page.Spacing(all)/4.6, 2), 8)
}

func stationsOf(f *findings.Findings) []survey.Station {
	out := make([]survey.Station, len(f.Stations))
	for i, s := range f.Stations {
		out[i] = s.Station
	}
	return out
}

// names names spots first, then stations.
func (m *mapping) names() {
	g := m.page
	all := stationsOf(m.f)
	if m.q.at != nil {
		g.StationNames(all, g.StationRadius(all))
		return
	}
	size := min(max(g.Spacing(all)/4.6, 5), 7.5)
	for _, s := range m.f.Stations {
		name := g.Placed(s.Station.Name, draw.Flat(s.Station.At))
		if v := m.q.station(s); !math.IsNaN(v) {
			name += " " + say.Signed(v)
		}
		g.Label(g.Frame.At(draw.Flat(s.Station.At)), name, draw.Style{Size: size, Halo: 1}, m.discRadius(all)+1.2)
	}
}
