package picture

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/vg"

	"quietmount/magmath"
	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// LoadChartOptions choose what LoadChart draws.
type LoadChartOptions struct {
	Load     string
	Stations []string // at most six; none: those nearest to the ranked spots
	Narrow   bool     // for the screen of a phone
}

const (
	usualCharts = 4
	mostCharts  = 6
)

// LoadChart draws the field of a load against its current at some stations: each
// capture with its 95 % interval, the fitted line with its 95 % band, and the part
// beyond the largest measured current. Without a choice of stations and without a
// ranking (nil) it takes the stations that the load disturbs most. It returns an
// error for a load that has no current or was not measured, and for a station
// without a capture of it.
func LoadChart(f *evaluate.Findings, ranking *rank.Ranking, o LoadChartOptions) (*draw.Picture, error) {
	g := &loadChart{f: f, narrow: o.Narrow}
	i := slices.IndexFunc(f.Craft.Loads, func(l survey.Load) bool { return l.Name == o.Load })
	if i < 0 {
		return nil, fmt.Errorf("no load %q in the craft file", o.Load)
	}
	g.load = f.Craft.Loads[i]
	if g.load.Kind != survey.LoadCurrent || !(g.load.MaxCurrentA > 0) {
		return nil, fmt.Errorf("%q has no current to draw its field against", o.Load)
	}
	if i < len(f.Loads) {
		g.how = f.Loads[i]
	}
	var err error
	if g.stations, err = g.chosen(ranking, o.Stations); err != nil {
		return nil, err
	}
	return g.draw(), nil
}

// loadChart is the state of drawing one chart.
type loadChart struct {
	f        *evaluate.Findings
	load     survey.Load
	how      evaluate.LoadFinding
	stations []evaluate.StationFinding
	narrow   bool
}

// chosen returns the stations to draw.
func (g *loadChart) chosen(ranking *rank.Ranking, names []string) ([]evaluate.StationFinding, error) {
	usable := slices.DeleteFunc(slices.Clone(g.f.Stations), func(s evaluate.StationFinding) bool {
		_, ok := s.Loads[g.load.Name]
		return !ok || len(g.readings(s)) == 0
	})
	if len(usable) == 0 {
		return nil, fmt.Errorf("no capture says at what current %q was on: survey it with --current-a", g.load.Name)
	}
	if len(names) > mostCharts {
		return nil, fmt.Errorf("%d stations: at most %d on one chart", len(names), mostCharts)
	}
	var out []evaluate.StationFinding
	take := func(name string) bool {
		i := slices.IndexFunc(usable, func(s evaluate.StationFinding) bool { return s.Station.Name == name })
		if i >= 0 && !slices.ContainsFunc(out, func(s evaluate.StationFinding) bool { return s.Station == usable[i].Station }) {
			out = append(out, usable[i])
		}
		return i >= 0
	}
	for _, name := range names {
		if !take(name) {
			return nil, fmt.Errorf("%q was not captured at station %q", g.load.Name, name)
		}
	}
	if len(names) > 0 {
		return out, nil
	}
	if ranking != nil {
		for _, s := range ranking.Spots {
			if len(out) < usualCharts {
				take(s.NearestStation)
			}
		}
	}
	slices.SortStableFunc(usable, func(a, b evaluate.StationFinding) int {
		return -cmp.Compare(r3.Norm(a.Loads[g.load.Name].Mean), r3.Norm(b.Loads[g.load.Name].Mean))
	})
	for _, s := range usable {
		if len(out) < usualCharts && (ranking == nil || len(out) == 0) {
			take(s.Station.Name)
		}
	}
	return out, nil
}

// readings returns a station's readings of this load; none if the load was never
// on.
func (g *loadChart) readings(s evaluate.StationFinding) []evaluate.LoadReading {
	var out []evaluate.LoadReading
	on := false
	for _, r := range s.Readings {
		if r.Load == g.load.Name {
			out = append(out, r)
			on = on || r.CurrentA != 0
		}
	}
	if !on {
		return nil
	}
	return out
}

// inkOf is the ink and mark of a component of the field, so that components differ
// not by colour alone.
type inkOf struct {
	name string
	of   func(r3.Vec) float64
	row  int // of a covariance
	ink  color.Color
	mark func(p *draw.Pen, at vg.Point, ink color.Color)
}

// components returns x, y and z.
func components() []inkOf {
	return []inkOf{
		{"x", func(v r3.Vec) float64 { return v.X }, 0, draw.Black, func(p *draw.Pen, at vg.Point, ink color.Color) { p.Disc(at, 2.1, ink, draw.White, 0.5) }},
		{"y", func(v r3.Vec) float64 { return v.Y }, 1, draw.Wire, func(p *draw.Pen, at vg.Point, ink color.Color) { marked(p, draw.BoxAround(at, 1.9, 1.9), ink) }},
		{"z", func(v r3.Vec) float64 { return v.Z }, 2, draw.Solid, func(p *draw.Pen, at vg.Point, ink color.Color) {
			marked(p, []vg.Point{at.Add(vg.Point{Y: 2.8}), at.Add(vg.Point{X: -2.5, Y: -1.8}), at.Add(vg.Point{X: 2.5, Y: -1.8})}, ink)
		}},
	}
}

// marked fills an area and rims it in white.
func marked(p *draw.Pen, area []vg.Point, ink color.Color) {
	p.Fill(ink, area)
	p.Loop(area, 0.5, draw.White)
}

// sdOf returns the standard uncertainty of a component.
func sdOf(cov magmath.Mat3, row int) float64 { return math.Sqrt(max(0, cov[row][row])) }

const normal95 = 1.96 // the two-sided 95 % quantile of the normal distribution

// reach returns the largest measured current without its sign, A.
func (g *loadChart) reach() float64 {
	most := 0.0
	for _, s := range g.stations {
		for _, r := range g.readings(s) {
			most = max(most, math.Abs(r.CurrentA))
		}
	}
	return most
}

// spans returns the axes that all charts of the page share.
func (g *loadChart) spans() (x, y span) {
	low, high, least := 0.0, 0.0, 0.0
	take := func(v, sd float64) {
		if !math.IsNaN(v + sd) {
			low, high = min(low, v-normal95*sd), max(high, v+normal95*sd)
		}
	}
	for _, s := range g.stations {
		e := s.Loads[g.load.Name]
		for _, k := range components() {
			take(k.of(e.Mean), sdOf(e.Cov, k.row))
			for _, r := range g.readings(s) {
				least = min(least, r.CurrentA)
				take(k.of(r.B), sdOf(r.Cov, k.row))
			}
		}
	}
	return spanOf(least, max(g.load.MaxCurrentA, g.reach())), spanOf(low, high)
}

func (g *loadChart) draw() *draw.Picture {
	pic := newPicture(fmt.Sprintf("%s: field of %s against its current, %s", say.Named(g.f.Craft.Name), g.load.Name, g.f.Date), g.words(), g.f.Date)
	pic.Narrow = g.narrow
	p := draw.PlainPage(pic)
	columns := min(pic.KeyColumns(), len(g.stations))
	rows := (len(g.stations) + columns - 1) / columns
	const tall, left, below, head = 178.0, 34.0, 28.0, 30.0
	bottom := p.Lay(g.head(), tall*float64(rows), g.keys(), pic.KeyColumns(), fmt.Sprintf("%d charts", len(g.stations)))
	wide := (p.Across - 2*draw.Margin) / float64(columns)
	x, y := g.spans()
	for i, s := range g.stations {
		from := vg.Point{X: vg.Points(draw.Margin + wide*float64(i%columns) + left), Y: vg.Points(bottom + tall*float64(rows-1-i/columns) + below)}
		to := from.Add(vg.Point{X: vg.Points(wide - left - 18), Y: tall - below - head})
		g.one(chart{p.Pen, vg.Rectangle{Min: from, Max: to}, x, y}, s, pic)
	}
	return pic
}

// one draws the chart of a station.
func (g *loadChart) one(c chart, s evaluate.StationFinding, pic *draw.Picture) {
	e := s.Loads[g.load.Name]
	above := vg.Point{X: c.area.Min.X - 20, Y: c.area.Max.Y + 16}
	most := float64(c.area.Size().X) + 20
	c.Text(above, c.Shortened(fmt.Sprintf("station %s: x %.0f, y %.0f mm", s.Station.Name, s.Station.At.X, s.Station.At.Y), draw.TextSize, true, most), draw.Style{Size: draw.TextSize, Bold: true})
	c.Text(above.Sub(vg.Point{Y: 10}), c.Shortened(g.slope(e), tickSize, false, most), draw.Style{Size: tickSize, Ink: draw.Grey})
	g.beyond(c)
	c.axes("current, A", "added field, µT")
	for _, k := range components() {
		g.band(c, e, k)
	}
	for _, k := range components() {
		g.fitted(c, e, k)
	}
	for i, k := range components() {
		aside := vg.Length(i-1) * 2.6
		for _, r := range g.readings(s) {
			v, half := k.of(r.B), normal95*sdOf(r.Cov, k.row)
			c.errorBar(r.CurrentA, v-half, v+half, aside, k.ink)
			at := c.at(r.CurrentA, v).Add(vg.Point{X: aside})
			k.mark(c.Pen, at, k.ink)
			pic.Note("%s %s %.2f A %.2f uT at %.1f, %.1f", s.Station.Name, k.name, r.CurrentA, v, at.X.Points(), at.Y.Points())
		}
	}
	g.ends(c, e)
}

// slope states the fitted field per ampere.
func (g *loadChart) slope(e evaluate.Estimate) string {
	words := "k, µT/A:"
	for _, k := range components() {
		words += fmt.Sprintf(" %s %+.3f±%.3f", k.name, k.of(e.Mean)/g.load.MaxCurrentA, normal95*sdOf(e.Cov, k.row)/g.load.MaxCurrentA)
	}
	return words
}

// beyond shades the currents beyond the largest measured one.
func (g *loadChart) beyond(c chart) {
	from := g.reach()
	if from > 0.995*g.load.MaxCurrentA {
		return
	}
	low, high := c.at(from, c.y.low), c.at(g.load.MaxCurrentA, c.y.high)
	c.Fill(beyondInk, []vg.Point{low, {X: high.X, Y: low.Y}, high, {X: low.X, Y: high.Y}})
	c.Line([]vg.Point{{X: high.X, Y: low.Y}, high}, 0.7, draw.Grey, 2, 2)
	c.Text(vg.Point{X: (low.X + high.X) / 2, Y: high.Y - 8}, fmt.Sprintf("× %.3g", g.load.MaxCurrentA/from), draw.Style{Size: tickSize, Left: 0.5, Ink: draw.Grey})
}

var beyondInk = color.Gray{Y: 0xe9}

// band draws the 95 % band of the line, a thin rim on each side.
func (g *loadChart) band(c chart, e evaluate.Estimate, k inkOf) {
	at := func(amps, side float64) vg.Point {
		share := amps / g.load.MaxCurrentA
		return c.at(amps, share*k.of(e.Mean)+side*math.Abs(share)*normal95*sdOf(e.Cov, k.row))
	}
	for _, side := range []float64{-1, 1} {
		c.Line([]vg.Point{at(c.x.low, side), at(0, side), at(g.load.MaxCurrentA, side)}, 0.5, k.ink, 1, 1.5)
	}
}

// fitted draws the line, solid as far as it was measured.
func (g *loadChart) fitted(c chart, e evaluate.Estimate, k inkOf) {
	at := func(amps float64) vg.Point { return c.at(amps, amps/g.load.MaxCurrentA*k.of(e.Mean)) }
	reach := min(g.reach(), g.load.MaxCurrentA)
	c.Line([]vg.Point{at(c.x.low), at(reach)}, 1.2, k.ink)
	c.Line([]vg.Point{at(reach), at(g.load.MaxCurrentA)}, 1.2, k.ink, 4, 2.5)
}

// ends writes the lines' names at their right ends, moved apart where they meet.
func (g *loadChart) ends(c chart, e evaluate.Estimate) {
	all := components()
	slices.SortStableFunc(all, func(a, b inkOf) int { return cmp.Compare(a.of(e.Mean), b.of(e.Mean)) })
	last := math.Inf(-1)
	for _, k := range all {
		at := c.at(g.load.MaxCurrentA, k.of(e.Mean))
		at.X = max(at.X, c.area.Max.X)
		at.Y = vg.Points(max(at.Y.Points(), last+8))
		last = at.Y.Points()
		c.Text(at.Add(vg.Point{X: 5}), k.name, draw.Style{Size: 8, Bold: true, Ink: k.ink, Low: 0.5})
	}
}

// head returns the lines under the title.
func (g *loadChart) head() []string {
	line := fmt.Sprintf("What the load adds to the field, craft frame: x forward, y right, z down. The field with the load off, B0, is subtracted: B = B0 + k I, k with its 95 %% limits. Measured up to %s A, the maximum is %s A.",
		say.Tenths(g.reach()), say.Short(g.load.MaxCurrentA))
	if !slices.ContainsFunc(g.stations, func(s evaluate.StationFinding) bool { // no reading with the load off
		return slices.ContainsFunc(g.readings(s), func(r evaluate.LoadReading) bool { return r.CurrentA == 0 })
	}) {
		line += " Pulsed, load on minus load off within one dwell: the lines start at zero."
	}
	if g.how.Substitute {
		line += " Measured with a substitute for the motor: the leads only."
	}
	switch p := g.how.LackOfFitP; {
	case p > 0 && p < 0.01:
		line += fmt.Sprintf(" The field is NOT proportional to the current (p = %.2g).", p)
	case p > 0 && p < 1:
		line += fmt.Sprintf(" No significant departure from proportionality (p = %.2g).", p)
	}
	return []string{line}
}

// keys returns the legend.
func (g *loadChart) keys() []draw.Key {
	keys := []draw.Key{}
	for _, k := range components() {
		words := map[string]string{"x": "forward", "y": "to the right", "z": "down"}[k.name]
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
			p.Line([]vg.Point{at.Add(vg.Point{Y: -4.5}), at.Add(vg.Point{Y: 4.5})}, 0.8, k.ink)
			k.mark(p, at, k.ink)
		}, Words: k.name + ", " + words + ": a capture with its 95 % interval, pose and placement included"})
	}
	keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
		p.Line(draw.Level(at, 11), 1.2, draw.Black)
		p.Line(draw.Level(at.Add(vg.Point{Y: 3}), 11), 0.5, draw.Black, 1, 1.5)
		p.Line(draw.Level(at.Sub(vg.Point{Y: 3}), 11), 0.5, draw.Black, 1, 1.5)
	}, Words: "the fitted line and its 95 % band"})
	if g.reach() < 0.995*g.load.MaxCurrentA {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
			p.Fill(beyondInk, draw.BoxAround(at, 11, 4.5))
			p.Line(draw.Level(at, 11), 1.2, draw.Black, 4, 2.5)
		}, Words: "extrapolated: more current than was measured, up to the load's maximum"})
	}
	return append(keys, draw.LackingKey(g.f.Craft)...)
}

// words returns the text alternative.
func (g *loadChart) words() string {
	words := fmt.Sprintf("Charts of the field that %s adds against its current, measured up to %s A of %s A.", g.load.Name, say.Tenths(g.reach()), say.Short(g.load.MaxCurrentA))
	for _, s := range g.stations {
		m := s.Loads[g.load.Name].Mean
		words += fmt.Sprintf(" At station %s it adds %.2f, %.2f, %.2f µT forward, right and down at the maximum.", s.Station.Name, m.X, m.Y, m.Z)
	}
	return words
}
