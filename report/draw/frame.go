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

// Frame maps the craft to paper, seen from above, nose up: craft x runs up the page
// and craft y to the right, at one scale.
type Frame struct {
	Region vg.Rectangle // of the page, points, with room for labels
	Box    r2.Box       // what must be seen of the craft, mm
	Scale  float64      // points a millimetre
}

// At returns the place on paper of a place on the craft.
func (f Frame) At(p r2.Vec) vg.Point {
	middle := r2.Scale(0.5, r2.Add(f.Box.Min, f.Box.Max))
	c := f.Region.Min.Add(f.Region.Max).Scale(0.5)
	return vg.Point{X: c.X + vg.Points((p.Y-middle.Y)*f.Scale), Y: c.Y + vg.Points((p.X-middle.X)*f.Scale)}
}

// All returns the places on paper of places on the craft.
func (f Frame) All(points []r2.Vec) []vg.Point {
	out := make([]vg.Point, len(points))
	for i, p := range points {
		out[i] = f.At(p)
	}
	return out
}

// Extent returns the box around outline, stations, parts, leads and the start of the
// cable, craft frame, mm. It does not contain the base station, which is off the
// craft.
func Extent(c *survey.Craft) r2.Box {
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

// Page is the paper of a picture: from top to bottom a head, the body and the
// legend.
type Page struct {
	*Pen
	Picture *Picture
	Frame   Frame
	Labels  Labels
	Across  float64 // its width, points
	Foot    float64 // y of the bottom of the craft's region

	side float64 // width of the column right of the craft
}

// The page's measures in points.
const (
	Margin    = 16.0
	padTop    = 34.0 // for the nose
	padSides  = 32.0 // for left and right
	padBottom = 36.0 // for the scale bar
	titleSize = 13.0
	TextSize  = 8.5
	leading   = 11.5
)

// across returns the width of the page, points: that of A4 within its margins, or
// one whose letters can be read on the screen of a phone.
func (p *Picture) across() float64 {
	if p.Narrow {
		return 290
	}
	return 470
}

// KeyColumns returns the number of columns of the legend.
func (p *Picture) KeyColumns() int {
	if p.Narrow {
		return 1
	}
	return 2
}

// PlainPage returns an empty page of the picture's width; Lay gives it a height.
func PlainPage(pic *Picture) *Page {
	return &Page{Pen: NewPen(pic), Picture: pic, Across: pic.across()}
}

// CraftPage lays out a page with head, craft and legend. Side is the width of a
// column right of the craft, points; below is extra room under it, mm of the
// craft.
func CraftPage(pic *Picture, c *survey.Craft, subtitles []string, side, below float64, keys []Key) *Page {
	box := Extent(c)
	length, width := max(box.Max.X-box.Min.X, 1), max(box.Max.Y-box.Min.Y, 1)
	g := PlainPage(pic)
	g.side = side
	most, columns := 440.0, pic.KeyColumns()
	if length < 0.55*width && !pic.Narrow {
		g.Across, most, columns = 720, 400, 3
	}
	room := g.Across - 2*Margin - side
	scale := min((room-2*padSides)/width, most/length)
	lower := padBottom + min(below*scale, 60)
	craftHeight := length*scale + padTop + lower
	bottom := g.Lay(subtitles, craftHeight, keys, columns, fmt.Sprintf("%.4f pt/mm", scale))
	g.Frame = Frame{Box: box, Scale: scale, Region: vg.Rectangle{
		Min: vg.Point{X: vg.Points(Margin), Y: vg.Points(bottom + lower - padTop)},
		Max: vg.Point{X: vg.Points(Margin + room), Y: vg.Points(bottom + craftHeight)},
	}}
	g.Labels.Region = vg.Rectangle{Min: vg.Point{X: vg.Points(Margin), Y: vg.Points(bottom)}, Max: vg.Point{X: vg.Points(Margin + room), Y: vg.Points(bottom + craftHeight)}}
	pic.Frame = g.Frame
	return g
}

// Lay sizes the page for a body of a height in points, draws head and legend, and
// returns the y of the body's bottom. It adds note to the layout.
func (g *Page) Lay(subtitles []string, body float64, keys []Key, columns int, note string) (bottom float64) {
	var head []string
	for _, s := range subtitles {
		head = append(head, g.Wrapped(s, TextSize, g.Across-2*Margin)...)
	}
	headHeight := Margin + titleSize + 4 + leading*float64(len(head)) + 6
	_, _, keysHeight := g.keyColumns(keys, columns)
	height := headHeight + body + 8 + keysHeight + Margin
	g.Picture.Width, g.Picture.Height = vg.Points(g.Across), vg.Points(height)
	bottom = height - headHeight - body
	g.Foot = bottom
	g.Picture.Note("page %.0f x %.0f pt, %s", g.Across, height, note)
	g.Fill(White, Corners(vg.Rectangle{Max: vg.Point{X: g.Picture.Width, Y: g.Picture.Height}}))
	g.head(height, head)
	g.keys(keys, columns, bottom-8)
	return bottom
}

// head draws title and subtitles.
func (g *Page) head(height float64, lines []string) {
	y := height - Margin - titleSize*capHeight
	title, size := g.fitTitle(g.Across - 2*Margin)
	g.Text(vg.Point{X: vg.Points(Margin), Y: vg.Points(y)}, title, Style{Size: size, Bold: true})
	y -= 4
	for _, s := range lines {
		y -= leading
		g.Text(vg.Point{X: vg.Points(Margin), Y: vg.Points(y)}, s, Style{Size: TextSize, Ink: Grey})
	}
}

// leastTitle is the smallest size of a title, points.
const leastTitle = 10

// fitTitle makes a long title smaller, and then cuts its name but not the rest.
func (g *Page) fitTitle(most float64) (title string, size float64) {
	size = max(leastTitle, min(titleSize, titleSize*most/max(1, g.Pen.Width(g.Picture.title, titleSize, true))))
	i := max(strings.LastIndex(g.Picture.title, ": "), 0)
	name, subject := g.Picture.title[:i], g.Picture.title[i:]
	return g.Shortened(name, size, true, most-g.Pen.Width(subject, size, true)) + subject, size
}

// Directions marks nose, left and right around the craft.
func (g *Page) Directions() {
	f := g.Frame
	top := f.At(r2.Vec{X: f.Box.Max.X, Y: (f.Box.Min.Y + f.Box.Max.Y) / 2})
	tip := top.Add(vg.Point{Y: 30})
	g.Fill(Black, []vg.Point{tip, tip.Add(vg.Point{X: -6, Y: -11}), tip.Add(vg.Point{Y: -8}), tip.Add(vg.Point{X: 6, Y: -11})})
	g.Text(tip.Add(vg.Point{X: 11, Y: -10}), "NOSE", Style{Size: TextSize, Bold: true})
	g.Labels.Take(tip.Add(vg.Point{X: -8, Y: -14}), tip.Add(vg.Point{X: 42, Y: 2}))
	middle := (f.Box.Min.X + f.Box.Max.X) / 2
	left, right := f.At(r2.Vec{X: middle, Y: f.Box.Min.Y}), f.At(r2.Vec{X: middle, Y: f.Box.Max.Y})
	for _, s := range []struct {
		at   vg.Point
		word string
		turn float64
	}{{left.Add(vg.Point{X: -24}), "LEFT", math.Pi / 2}, {right.Add(vg.Point{X: 24}), "RIGHT", -math.Pi / 2}} {
		g.Text(s.at, s.word, Style{Size: TextSize, Bold: true, Turn: s.turn, Left: 0.5, Low: 0.5})
		g.Labels.Take(s.at.Add(vg.Point{X: -6, Y: -20}), s.at.Add(vg.Point{X: 6, Y: 20}))
	}
}

// ScaleBar draws a bar of a round number of millimetres under the craft.
func (g *Page) ScaleBar() {
	f := g.Frame
	most := float64(f.Region.Size().X) / f.Scale / 3
	mm := Step125(max(most, 1e-6), math.Floor)
	length := vg.Points(mm * f.Scale)
	from := vg.Point{X: f.Region.Min.X + 2, Y: vg.Points(g.Foot + 6)}
	half := from.Add(vg.Point{X: length / 2})
	end := from.Add(vg.Point{X: length})
	left, right := Corners(vg.Rectangle{Min: from, Max: half.Add(vg.Point{Y: 4})}), Corners(vg.Rectangle{Min: half, Max: end.Add(vg.Point{Y: 4})})
	g.Fill(Black, left)
	g.Loop(left, 0.7, Black)
	g.Loop(right, 0.7, Black)
	g.Text(end.Add(vg.Point{X: 5}), say.Short(mm)+" mm", Style{Size: TextSize, Low: 0.15})
	g.Picture.Note("scale bar %s mm", say.Short(mm))
}
