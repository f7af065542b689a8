// Package picture draws what a craft file describes, what a survey measured and
// what the evaluation found: the craft, maps of the disturbance, the change
// between two surveys, a load's field against its current, the directions that a
// calibration covered, the deviation card.
//
// In come a craft, findings, a comparison, a calibration or a swing; out goes a
// draw.Picture, to be written as PNG, SVG or PDF. The package evaluates nothing
// itself: it asks the findings' fields for values between the stations.
//
// Start reading at Map in map.go. quantity.go chooses what a map shows, ground.go
// predicts and colours it, contours.go and spots.go draw on it, legend.go explains
// it. panels.go sets several small maps on one page, and states.go and
// standarderror.go say which.
package picture

import (
	"context"
	"fmt"
	"image/color"
	"math"
	"slices"
	"time"

	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// MapOptions choose what Map draws.
type MapOptions struct {
	Part     string   // shifting, steady, magnitude or a load's name; empty: shifting if measured
	HeightMM *float64 // the mounting height; nil: the first of the craft file
	Narrow   bool     // for the screen of a phone
	Known    *Known   // what was computed for other pictures of the same findings; nil: nothing
}

// Map draws one part of the disturbance over the craft, seen from above, nose
// up. Without a ranking (nil) it marks no spots. It returns an error that lists
// the available parts if the part was not measured, and the available heights
// if the craft file lacks the height.
func Map(ctx context.Context, f *evaluate.Findings, ranking *rank.Ranking, o MapOptions) (*draw.Picture, error) {
	m, err := newMapping(f, ranking, o)
	if err != nil {
		return nil, err
	}
	m.scale(ctx)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw the map: %w", err)
	}
	return m.draw(), nil
}

// Ranked are findings with their ranking, nil where nothing can be ranked.
type Ranked struct {
	Findings *evaluate.Findings
	Ranking  *rank.Ranking
}

// MapPair draws the same part of two findings of one craft on one colour scale,
// for comparison by eye. Its errors are those of Map.
func MapPair(ctx context.Context, a, b Ranked, o MapOptions) ([2]*draw.Picture, error) {
	var out [2]*draw.Picture
	var both [2]*mapping
	var shown []float64
	for i, r := range []Ranked{a, b} {
		m, err := newMapping(r.Findings, r.Ranking, o)
		if err != nil {
			return out, err
		}
		m.scale(ctx)
		if err := ctx.Err(); err != nil {
			return out, fmt.Errorf("draw the maps: %w", err)
		}
		shown = append(shown, m.shown...)
		both[i] = m
	}
	slices.Sort(shown)
	for i, m := range both {
		if m.q.at != nil {
			m.ramp = m.q.ramp(shown, m.q.limit)
		}
		out[i] = m.draw()
	}
	return out, nil
}

// mapping is the state of drawing one map.
type mapping struct {
	ground
	f         *evaluate.Findings
	q         quantity
	ramp      draw.Ramp
	spots     []rank.Spot
	height    float64 // mounting height above the surface, mm
	narrow    bool
	mountable *rank.Mountable // nil without a map, and on a small one among several
	known     *Known
}

func newMapping(f *evaluate.Findings, ranking *rank.Ranking, o MapOptions) (*mapping, error) {
	q, err := quantityOf(f, o.Part)
	if err != nil {
		return nil, err
	}
	m := &mapping{ground: ground{craft: f.Craft}, f: f, q: q, narrow: o.Narrow, known: o.Known}
	if m.height, err = o.height(f.Craft); err != nil {
		return nil, err
	}
	if q.at != nil && ranking != nil {
		m.spots = ranking.Spots
	}
	return m, nil
}

// height returns the mounting height to draw, or an error if the craft file
// lacks it.
func (o MapOptions) height(c *survey.Craft) (float64, error) {
	all := heightsOf(c)
	if o.HeightMM == nil {
		return all[0], nil
	}
	if slices.Contains(all, *o.HeightMM) {
		return *o.HeightMM, nil
	}
	return 0, fmt.Errorf("the craft file has no mounting height of %g mm; it has %s mm", *o.HeightMM, say.Listed(say.Shorts(all)))
}

// heightsOf returns the mounting heights of a craft, at least one.
func heightsOf(c *survey.Craft) []float64 {
	if len(c.Heights) == 0 {
		return []float64{0}
	}
	return c.Heights
}

// heightWords names the map's height if the craft has several.
func (m *mapping) heightWords() string {
	if len(m.craft.Heights) < 2 || m.q.at == nil {
		return ""
	}
	return " at " + say.Short(m.height) + " mm"
}

const barSide = 76 // width of the column for the colour bar, points

// newPicture returns an empty picture dated by its survey, a date as in
// 2026-06-01.
func newPicture(title, desc, date string) *draw.Picture {
	pic := draw.New(title, desc)
	if day, err := time.Parse(time.DateOnly, date); err == nil {
		pic.Dated = day
	}
	return pic
}

// scale predicts what the map shows and fits the colours to it.
func (m *mapping) scale(ctx context.Context) {
	if m.q.at != nil {
		m.heat = newHeat(ctx, m.f, m.q, m.height, m.known)
		m.mountable = rank.NewMountable(ctx, m.f, m.height)
		m.ramp = m.q.ramp(m.shown, m.q.limit)
		return
	}
	var sizes []float64
	for _, s := range m.f.Stations {
		if v := math.Abs(m.q.station(s)); v > 0 {
			sizes = append(sizes, v)
		}
	}
	slices.Sort(sizes)
	m.ramp = m.q.ramp(sizes, 0)
}

// draw draws the map; scale comes before it.
func (m *mapping) draw() *draw.Picture {
	pic := newPicture(fmt.Sprintf("%s: %s%s, %s", say.Named(m.craft.Name), m.q.title, m.heightWords(), m.f.Date), m.words(), m.f.Date)
	pic.Narrow = m.narrow
	m.page = draw.CraftPage(pic, m.craft, m.head(), barSide, 0, m.keys())
	m.colours()
	m.page.Directions()
	m.page.ScaleBar()
	m.things()
	m.names()
	m.page.BarBeside(m.ramp.Bar(m.q.limit), m.q.legend)
	m.page.LeftOut()
	return pic
}

// colours draws the ground with its contour lines and their values.
func (m *mapping) colours() {
	if m.q.at == nil {
		return
	}
	var lines []contourLine
	m.lay(func(logarithm float64) color.Color { return m.ramp.Color(math.Exp(logarithm)) }, func() {
		lines = m.contours()
		if m.mountable != nil {
			m.forbid(m.box())
		}
	})
	m.contourNames(lines)
}

// things draws the craft's parts, the stations and the ranked spots.
func (m *mapping) things() {
	g, c := m.page, m.craft
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

// stations draws the stations: white discs on a map, coloured ones without a
// map, struck out where the part was not measured.
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

// discRadius returns the radius of a coloured station, points.
func (m *mapping) discRadius(all []survey.Station) float64 {
	return min(max(m.page.Spacing(all)/4.6, 2), 8)
}

// stationsOf returns the stations that were measured.
func stationsOf(f *evaluate.Findings) []survey.Station {
	out := make([]survey.Station, len(f.Stations))
	for i, s := range f.Stations {
		out[i] = s.Station
	}
	return out
}

// names writes the stations' names, with the value of a station without a map.
func (m *mapping) names() {
	g := m.page
	all := stationsOf(m.f)
	if m.q.at != nil {
		g.StationNames(all, g.StationRadius(all))
		return
	}
	size, radius := min(max(g.Spacing(all)/4.6, 5), 7.5), m.discRadius(all)
	for _, s := range m.f.Stations {
		name := g.Placed(s.Station.Name, draw.Flat(s.Station.At))
		if v := m.q.station(s); !math.IsNaN(v) {
			name += " " + say.Signed(v)
		}
		g.Label(g.Frame.At(draw.Flat(s.Station.At)), name, draw.Style{Size: size, Halo: 1}, radius+1.2)
	}
}
