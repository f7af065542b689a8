package draw

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"

	"quietmount/report/say"
)

// Bar is a colour bar. Shares run from 0 at its bottom to 1 at its top.
type Bar struct {
	Color       func(share float64) color.Color
	Rows        int // of pixels
	Ticks       []Tick
	Limit       float64 // share of a strong line across the bar; drawn only inside it
	Under, Over bool    // pointed ends: values lie beyond the bar
	Note        string  // into the picture's layout
}

// Tick is a marked value of a bar.
type Tick struct {
	Share float64
	Words string
}

// Bar draws a colour bar from low to high, its left side at x, the lines of its
// title left of it, upwards.
func (g *Page) Bar(b Bar, title []string, x, low, high float64) {
	rect := vg.Rectangle{Min: vg.Point{X: vg.Points(x), Y: vg.Points(low)}, Max: vg.Point{X: vg.Points(x + 12), Y: vg.Points(high)}}
	at := func(share float64) vg.Length { return vg.Points(low + (high-low)*share) }
	g.Picture.Bar = rect
	img := image.NewRGBA(image.Rect(0, 0, 2, b.Rows))
	for j := range b.Rows {
		c := b.Color(1 - (float64(j)+0.5)/float64(b.Rows))
		img.Set(0, j, c)
		img.Set(1, j, c)
	}
	g.Image(rect, img)
	g.barEnds(b, rect)
	for _, t := range b.Ticks {
		end := vg.Point{X: rect.Max.X, Y: at(t.Share)}
		g.Line([]vg.Point{end, end.Add(vg.Point{X: 3})}, 0.7, Black)
		g.Text(end.Add(vg.Point{X: 5}), t.Words, Style{Size: TextSize, Low: 0.5})
		g.Picture.Note("tick %s at %.1f", t.Words, end.Y.Points())
	}
	if b.Limit > 0 && b.Limit < 1 {
		g.Edged([]vg.Point{{X: rect.Min.X - 2, Y: at(b.Limit)}, {X: rect.Max.X + 2, Y: at(b.Limit)}}, 4, 2.2, Black)
	}
	for i, line := range title {
		side := vg.Point{X: rect.Min.X - vg.Points(6+leading*float64(len(title)-1-i)), Y: at(0.5)}
		g.Text(side, line, Style{Size: TextSize, Left: 0.5, Turn: QuarterTurn})
	}
	g.Picture.Note("%s", b.Note)
}

// BarBeside draws a colour bar with its title beside the craft.
func (g *Page) BarBeside(b Bar, title string) {
	height := max(90, min(float64(g.Frame.Region.Size().Y)-2*padTop-16, 260))
	middle := (g.Frame.Region.Min.Y + g.Frame.Region.Max.Y).Points() / 2
	lines := g.Wrapped(title, TextSize, height+30)
	room := 34.0 // right of the bar's left side
	for _, t := range b.Ticks {
		room = max(room, 15+g.Pen.Width(t.Words, TextSize, false))
	}
	x := min(g.Across-Margin-room, g.Frame.At(g.Frame.Box.Max).X.Points()+48+leading*float64(len(lines)))
	g.Bar(b, lines, x, middle-height/2, middle+height/2)
}

// barEnds draws the rim of the bar, pointed where values lie beyond its end.
func (g *Page) barEnds(b Bar, r vg.Rectangle) {
	middle := (r.Min.X + r.Max.X) / 2
	rim := []vg.Point{r.Min}
	if b.Under {
		tip := vg.Point{X: middle, Y: r.Min.Y - 8}
		g.Fill(b.Color(0), []vg.Point{r.Min, tip, {X: r.Max.X, Y: r.Min.Y}})
		rim = append(rim, tip)
	}
	rim = append(rim, vg.Point{X: r.Max.X, Y: r.Min.Y}, r.Max)
	if b.Over {
		tip := vg.Point{X: middle, Y: r.Max.Y + 8}
		g.Fill(b.Color(1), []vg.Point{r.Max, tip, {X: r.Min.X, Y: r.Max.Y}})
		rim = append(rim, tip)
	}
	g.Loop(append(rim, vg.Point{X: r.Min.X, Y: r.Max.Y}), 0.7, Black)
}

// Bar returns the ramp's colour bar with a strong line at a limit.
func (r Ramp) Bar(limit float64) Bar {
	b := Bar{
		Color: func(share float64) color.Color { return r.Color(r.low * math.Pow(r.high/r.low, share)) }, Rows: 256,
		Limit: r.share(limit), Under: r.under, Over: r.over,
	}
	for _, v := range r.Ticks {
		b.Ticks = append(b.Ticks, Tick{r.share(v), say.Short(v)})
	}
	b.Note = fmt.Sprintf("bar %s to %s %s, under %t, over %t", say.Short(r.low), say.Short(r.high), r.Units, r.under, r.over)
	return b
}
