package report

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/survey"
)

// frame puts the craft on paper, seen from above, nose up: craft x runs up the
// page and craft y to the right, at one scale.
type frame struct {
	region vg.Rectangle // of the page, points, labels included
	box    r2.Box       // of the craft, millimetres, what must be seen
	scale  float64      // points a millimetre
}

// at is the place on paper of a place on the craft.
func (f frame) at(p r2.Vec) vg.Point {
	middle := r2.Scale(0.5, r2.Add(f.box.Min, f.box.Max))
	c := f.region.Min.Add(f.region.Max).Scale(0.5)
	return vg.Point{X: c.X + vg.Points((p.Y-middle.Y)*f.scale), Y: c.Y + vg.Points((p.X-middle.X)*f.scale)}
}

func (f frame) all(points []r2.Vec) []vg.Point {
	out := make([]vg.Point, len(points))
	for i, p := range points {
		out[i] = f.at(p)
	}
	return out
}

// seen is what a picture of the craft must show: outline, stations, parts and
// cable. The base station stands off the craft and is left out.
func seen(c *survey.Craft) r2.Box {
	box := c.Body.OutlineMM.Bounds()
	take := func(x, y float64) {
		box.Min = r2.Vec{X: min(box.Min.X, x), Y: min(box.Min.Y, y)}
		box.Max = r2.Vec{X: max(box.Max.X, x), Y: max(box.Max.Y, y)}
	}
	for _, s := range c.Stations() {
		take(s.At.X, s.At.Y)
	}
	for _, p := range c.Parts {
		if p.AtMM != nil {
			take(p.AtMM.X, p.AtMM.Y)
		}
		for _, q := range p.PathMM {
			take(q.X, q.Y)
		}
		for _, q := range p.ReturnPathMM {
			take(q.X, q.Y)
		}
	}
	if c.Cable != nil {
		take(c.Cable.FromMM.X, c.Cable.FromMM.Y)
	}
	return box
}

// page is the sheet of paper that a picture fills from top to bottom.
type page struct {
	*pen
	pic    *Picture
	frame  frame
	across float64
	side   float64 // width of the column right of the craft
	foot   float64 // y of the bottom of the craft's region
	labels labels
}

// The page's measures in points.
const (
	margin    = 16.0
	padTop    = 34.0 // for the nose
	padSides  = 32.0 // for left and right
	padBottom = 36.0 // for the scale bar
	titleSize = 13.0
	textSize  = 8.5
	leading   = 11.5
)

// across is the width of the page, points: that of A4 within its margins, or one
// at which the letters can be read on a phone that shows it from side to side.
func (p *Picture) across() float64 {
	if p.narrow {
		return 290
	}
	return 470
}

// keyColumns is how many columns the keys fill.
func (p *Picture) keyColumns() int {
	if p.narrow {
		return 1
	}
	return 2
}

// plainPage is a page with nothing on it, as wide as the picture is to be; see
// page.lay.
func plainPage(pic *Picture) *page { return &page{pen: newPen(pic), pic: pic, across: pic.across()} }

// newPage lays out the page: head, craft with a column beside it, keys.
// Below is extra room in millimetres of the craft.
func newPage(pic *Picture, c *survey.Craft, subtitles []string, side, below float64, keys []key) *page {
	box := seen(c)
	length, width := max(box.Max.X-box.Min.X, 1), max(box.Max.Y-box.Min.Y, 1)
	g := plainPage(pic)
	g.side = side
	most, columns := 440.0, pic.keyColumns()
	if length < 0.55*width && !pic.narrow {
		g.across, most, columns = 720, 400, 3
	}
	room := g.across - 2*margin - side
	scale := min((room-2*padSides)/width, most/length)
	lower := padBottom + min(below*scale, 60)
	craftHeight := length*scale + padTop + lower
	bottom := g.lay(subtitles, craftHeight, keys, columns, fmt.Sprintf("%.4f pt/mm", scale))
	g.frame = frame{box: box, scale: scale, region: vg.Rectangle{
		Min: vg.Point{X: vg.Points(margin), Y: vg.Points(bottom + lower - padTop)},
		Max: vg.Point{X: vg.Points(margin + room), Y: vg.Points(bottom + craftHeight)},
	}}
	g.labels.region = vg.Rectangle{Min: vg.Point{X: vg.Points(margin), Y: vg.Points(bottom)}, Max: vg.Point{X: vg.Points(margin + room), Y: vg.Points(bottom + craftHeight)}}
	pic.frame = g.frame
	return g
}

// lay sizes the page for a body of a height, draws what is above and below it,
// and returns the y of its bottom. Note goes into the layout.
func (g *page) lay(subtitles []string, body float64, keys []key, columns int, note string) (bottom float64) {
	var head []string
	for _, s := range subtitles {
		head = append(head, g.wrapped(s, textSize, g.across-2*margin)...)
	}
	headHeight := margin + titleSize + 4 + leading*float64(len(head)) + 6
	height := headHeight + body + 8 + g.keyHeight(keys, columns) + margin
	g.pic.width, g.pic.height = vg.Points(g.across), vg.Points(height)
	bottom = height - headHeight - body
	g.foot = bottom
	g.pic.note("page %.0f x %.0f pt, %s", g.across, height, note)
	g.paper(height)
	g.head(height, head)
	g.keys(keys, columns, bottom-8)
	return bottom
}

func (g *page) paper(height float64) {
	w, h := vg.Points(g.across), vg.Points(height)
	g.fill(white, []vg.Point{{}, {X: w}, {X: w, Y: h}, {Y: h}})
}

func (g *page) head(height float64, lines []string) {
	y := height - margin - titleSize*capHeight
	title, size := g.fitTitle(g.across - 2*margin)
	g.text(vg.Point{X: vg.Points(margin), Y: vg.Points(y)}, title, style{size: size, bold: true})
	y -= 4
	for _, s := range lines {
		y -= leading
		g.text(vg.Point{X: vg.Points(margin), Y: vg.Points(y)}, s, style{size: textSize, ink: grey})
	}
}

// leastTitle is how small a title is set before its name is cut, points.
const leastTitle = 10

// fitTitle sets a long title smaller and then cuts its name, but not what
// follows it.
func (g *page) fitTitle(most float64) (title string, size float64) {
	size = max(leastTitle, min(titleSize, titleSize*most/max(1, g.pen.width(g.pic.title, titleSize, true))))
	i := max(strings.LastIndex(g.pic.title, ": "), 0)
	name, subject := g.pic.title[:i], g.pic.title[i:]
	return g.shortened(name, size, true, most-g.pen.width(subject, size, true)) + subject, size
}

// directions marks nose, left and right around the craft.
func (g *page) directions() {
	f := g.frame
	top := f.at(r2.Vec{X: f.box.Max.X, Y: (f.box.Min.Y + f.box.Max.Y) / 2})
	tip := top.Add(vg.Point{Y: 30})
	g.fill(black, []vg.Point{tip, tip.Add(vg.Point{X: -6, Y: -11}), tip.Add(vg.Point{Y: -8}), tip.Add(vg.Point{X: 6, Y: -11})})
	g.text(tip.Add(vg.Point{X: 11, Y: -10}), "NOSE", style{size: textSize, bold: true})
	g.labels.take(tip.Add(vg.Point{X: -8, Y: -14}), tip.Add(vg.Point{X: 42, Y: 2}))
	middle := (f.box.Min.X + f.box.Max.X) / 2
	left, right := f.at(r2.Vec{X: middle, Y: f.box.Min.Y}), f.at(r2.Vec{X: middle, Y: f.box.Max.Y})
	for _, s := range []struct {
		at   vg.Point
		word string
		turn float64
	}{{left.Add(vg.Point{X: -24}), "LEFT", math.Pi / 2}, {right.Add(vg.Point{X: 24}), "RIGHT", -math.Pi / 2}} {
		g.text(s.at, s.word, style{size: textSize, bold: true, turn: s.turn, left: 0.5, low: 0.5})
		g.labels.take(s.at.Add(vg.Point{X: -6, Y: -20}), s.at.Add(vg.Point{X: 6, Y: 20}))
	}
}

// scaleBar draws a bar of a round number of millimetres under the craft.
func (g *page) scaleBar() {
	f := g.frame
	most := float64(f.region.Size().X) / f.scale / 3
	mm := step125(max(most, 1e-6), math.Floor)
	length := vg.Points(mm * f.scale)
	from := vg.Point{X: f.region.Min.X + 2, Y: vg.Points(g.foot + 6)}
	half := from.Add(vg.Point{X: length / 2})
	end := from.Add(vg.Point{X: length})
	bar := func(a, b vg.Point, ink bool) {
		area := []vg.Point{a, b, b.Add(vg.Point{Y: 4}), a.Add(vg.Point{Y: 4})}
		if ink {
			g.fill(black, area)
		}
		g.loop(area, 0.7, black)
	}
	bar(from, half, true)
	bar(half, end, false)
	g.text(end.Add(vg.Point{X: 5}), short(mm)+" mm", style{size: textSize, low: 0.15})
	g.pic.note("scale bar %s mm", short(mm))
}
