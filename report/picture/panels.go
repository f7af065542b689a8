package picture

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// panel is one of several maps of a craft that share scale and legend.
type panel struct {
	title  string
	q      quantity
	height float64 // of the module above the surface, mm
}

// panels is the state of drawing small maps side by side.
type panels struct {
	f       *evaluate.Findings
	subject string // after the craft's name in the title
	head    []string
	all     []panel
	spots   []rank.Spot
	narrow  bool
	known   *Known

	maps  []*mapping
	ramp  draw.Ramp
	limit float64 // the largest limit of the panels
}

const panelsAPage = 6

// pictures draws the panels, at most six per page, all on one scale. The
// error is that of ctx.
func (s *panels) pictures(ctx context.Context) ([]*draw.Picture, error) {
	var shown []float64
	for _, p := range s.all {
		under := ground{craft: s.f.Craft, heat: newHeat(ctx, s.f, p.q, p.height, s.known)}
		s.maps = append(s.maps, &mapping{ground: under, f: s.f, q: p.q, height: p.height, spots: s.spots})
		shown = append(shown, under.shown...)
		s.limit = max(s.limit, p.q.limit)
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw the maps: %w", err)
	}
	slices.Sort(shown)
	s.ramp = s.all[0].q.ramp(shown, s.limit)
	var out []*draw.Picture
	for at := 0; at < len(s.all); at += panelsAPage {
		out = append(out, s.page(at, min(at+panelsAPage, len(s.all))))
	}
	return out, nil
}

// page draws the panels from one index up to another, exclusive.
func (s *panels) page(from, to int) *draw.Picture {
	title := fmt.Sprintf("%s: %s, %s", say.Named(s.f.Craft.Name), s.subject, s.f.Date)
	if len(s.all) > panelsAPage {
		title += fmt.Sprintf(", page %d of %d", from/panelsAPage+1, (len(s.all)-1)/panelsAPage+1)
	}
	pic := newPicture(title, s.words(s.all[from:to]), s.f.Date)
	pic.Narrow = s.narrow
	g := draw.PlainPage(pic)
	grid := gridOf(draw.Extent(s.f.Craft), to-from, g.Across-2*draw.Margin-barSide)
	body := max(grid.high()+scaleRoom, leastBody)
	bottom := g.Lay(s.head, body, s.keys(from, to), pic.KeyColumns(), fmt.Sprintf("%.4f pt/mm, %d columns", grid.scale, grid.columns))
	for i := from; i < to; i++ {
		s.draw(g, grid, i, i-from, bottom+body-grid.high())
	}
	s.beside(g, bottom, body)
	return pic
}

// words returns the text alternative of a page.
func (s *panels) words(some []panel) string {
	words := fmt.Sprintf("%s of the craft seen from above, nose up, in %s on one scale:", say.Counted(len(some), "small map"), s.ramp.Units)
	for i, p := range some {
		words += say.YesNo(i == 0, " ", "; ") + p.title
	}
	return words + "."
}

// panelGrid is the arrangement of panels on a page.
type panelGrid struct {
	box           r2.Box
	columns, rows int
	scale         float64 // points a millimetre
	wide, tall    float64 // of a cell, points
}

const (
	scaleRoom  = 26.0 // for the bar of millimetres
	panelHead  = 26.0 // for the title of a panel, and the nose
	panelGap   = 12.0
	panelsTall = 560.0
	leastBody  = 190.0 // so that the bar has room beside low panels
)

// gridOf arranges n panels in the number of columns that makes them largest
// within a width.
func gridOf(box r2.Box, n int, across float64) panelGrid {
	length, width := max(box.Max.X-box.Min.X, 1), max(box.Max.Y-box.Min.Y, 1)
	var best panelGrid
	for columns := 1; columns <= min(n, 3); columns++ {
		rows := (n + columns - 1) / columns
		wide := across / float64(columns)
		scale := min((wide-panelGap)/width, (panelsTall/float64(rows)-panelHead-panelGap)/length)
		if scale > best.scale*1.02 {
			best = panelGrid{box, columns, rows, scale, wide, length*scale + panelHead + panelGap}
		}
	}
	return best
}

// high returns the height of all panels, points.
func (k panelGrid) high() float64 { return k.tall * float64(k.rows) }

// frame returns the place of the n-th panel on a page whose panels end at bottom.
func (k panelGrid) frame(n int, bottom float64) draw.Frame {
	x := draw.Margin + k.wide*float64(n%k.columns)
	y := bottom + k.tall*float64(k.rows-1-n/k.columns)
	return draw.Frame{Box: k.box, Scale: k.scale, Region: vg.Rectangle{
		Min: vg.Point{X: vg.Points(x), Y: vg.Points(y + panelGap)},
		Max: vg.Point{X: vg.Points(x + k.wide - panelGap), Y: vg.Points(y + k.tall - panelHead)},
	}}
}

// draw draws panel i as the n-th of its page.
func (s *panels) draw(g *draw.Page, grid panelGrid, i, n int, bottom float64) {
	m, sub := s.maps[i], *g
	sub.Frame = grid.frame(n, bottom)
	sub.Labels = draw.Labels{Region: sub.Frame.Region}
	m.page, m.ramp = &sub, s.ramp
	g.Picture.Panels = append(g.Picture.Panels, sub.Frame)
	if n == 0 {
		g.Picture.Frame, g.Frame = sub.Frame, sub.Frame
	}
	m.colours()
	sub.Keepouts(m.craft)
	sub.Leads(m.craft)
	sub.Outline(m.craft)
	sub.Parts(m.craft)
	for _, st := range s.f.Stations {
		sub.Disc(sub.Frame.At(draw.Flat(st.Station.At)), 1.1, draw.White, draw.Black, 0.5)
	}
	s.firstSpot(m)
	top := sub.Frame.At(r2.Vec{X: grid.box.Max.X, Y: (grid.box.Min.Y + grid.box.Max.Y) / 2}).Add(vg.Point{Y: 4})
	sub.Fill(draw.Black, []vg.Point{top.Add(vg.Point{Y: 7}), top.Add(vg.Point{X: -3.4}), top.Add(vg.Point{Y: 1.6}), top.Add(vg.Point{X: 3.4})})
	title := sub.Shortened(s.all[i].title, draw.TextSize, true, grid.wide-panelGap)
	at := vg.Point{X: sub.Frame.At(grid.box.Min).X, Y: sub.Frame.Region.Max.Y + 13}
	at.X = max(sub.Frame.Region.Min.X, min(at.X, sub.Frame.Region.Max.X-vg.Points(g.Pen.Width(title, draw.TextSize, true))))
	sub.Text(at, title, draw.Style{Size: draw.TextSize, Bold: true})
	g.Picture.Note("panel %s at %.0f, %.0f", s.all[i].title, at.X.Points(), at.Y.Points())
}

// firstSpot marks the first spot of the ranking.
func (s *panels) firstSpot(m *mapping) {
	for _, spot := range s.spots {
		if spot.Rank == 1 && m.hasHeight(spot) {
			at := m.page.Frame.At(draw.Flat(spot.At))
			m.page.Disc(at, 5, draw.Black, draw.White, 1.1)
			m.page.Text(at, "1", draw.Style{Size: 7, Bold: true, Ink: draw.White, Left: 0.5, Low: 0.5})
		}
	}
}

// beside draws the bar of colours and the bar of millimetres.
func (s *panels) beside(g *draw.Page, bottom, body float64) {
	height := min(body-scaleRoom-panelHead-16, 300)
	middle := bottom + (body-panelHead+scaleRoom)/2
	lines := g.Wrapped(s.all[0].q.legend, draw.TextSize, min(height+40, body-16))
	g.Bar(s.ramp.Bar(s.limit), lines, g.Across-draw.Margin-34, middle-height/2, middle+height/2)
	g.Frame.Region.Min.X = draw.Margin
	g.ScaleBar()
}

// keys returns the legend of a page.
func (s *panels) keys(from, to int) []draw.Key {
	keys := []draw.Key{
		{Draw: func(p *draw.Pen, at vg.Point) { p.Disc(at, 1.6, draw.White, draw.Black, 0.7) }, Words: "station"},
		{Draw: func(p *draw.Pen, at vg.Point) {
			p.Fill(draw.Black, []vg.Point{at.Add(vg.Point{Y: 4}), at.Add(vg.Point{X: -3.4, Y: -3}), at.Add(vg.Point{Y: -1.4}), at.Add(vg.Point{X: 3.4, Y: -3})})
		}, Words: "nose"},
	}
	var all heat
	for _, m := range s.maps[from:to] {
		all.doubts = all.doubts || m.doubts
		all.anywhere = all.anywhere || m.anywhere
		all.nears = all.nears || m.nears
	}
	if slices.ContainsFunc(s.spots, func(p rank.Spot) bool { return p.Rank == 1 }) {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { spotMark(p, at, "1", false) }, Words: "first of the ranked spots"})
	}
	var limited []float64
	var last quantity
	for i, p := range s.all[from:to] {
		if p.q.limit > 0 {
			last, limited = p.q, append(limited, s.maps[from+i].shown...)
		}
	}
	if slices.Sort(limited); last.limit > 0 {
		keys = append(keys, limitKey(last, limited))
	}
	c := s.f.Craft
	keys = append(keys, all.keys(s.all[from].q)...)
	if len(c.Keepouts) > 0 {
		keys = append(keys, draw.KeepoutKey("keep-out"))
	}
	drawn := *c
	drawn.Cable = nil // left out of small maps
	return append(append(keys, draw.ThingKeys(&drawn)...), draw.LackingKey(c)...)
}
