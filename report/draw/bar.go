package draw

import (
	"image"
	"math"

	"gonum.org/v1/plot/vg"

	"quietmount/report/say"
)

// Bar draws a ramp's colour bar from low to high, its left side at x, the words
// left of it.
func (g *Page) Bar(r Ramp, limit float64, lines []string, x, low, high float64) {
	height, middle := high-low, (low+high)/2
	rect := vg.Rectangle{Min: vg.Point{X: vg.Points(x), Y: vg.Points(low)}, Max: vg.Point{X: vg.Points(x + 12), Y: vg.Points(high)}}
	g.Picture.Bar = rect
	g.Image(rect, barImage(r))
	g.barEnds(r, rect)
	for _, v := range r.Ticks {
		y := vg.Points(low + height*r.share(v))
		at := vg.Point{X: rect.Max.X, Y: y}
		g.Line([]vg.Point{at, at.Add(vg.Point{X: 3})}, 0.7, Black)
		g.Text(at.Add(vg.Point{X: 5}), say.Short(v), Style{Size: TextSize, Low: 0.5})
		g.Picture.Note("tick %s at %.1f", say.Short(v), y.Points())
	}
	if limit > r.low && limit < r.high {
		y := vg.Points(low + height*r.share(limit))
		g.Line([]vg.Point{{X: rect.Min.X - 2, Y: y}, {X: rect.Max.X + 2, Y: y}}, 4, White)
		g.Line([]vg.Point{{X: rect.Min.X - 2, Y: y}, {X: rect.Max.X + 2, Y: y}}, 2.2, Black)
	}
	for i, line := range lines {
		side := vg.Point{X: rect.Min.X - vg.Points(6+Leading*float64(len(lines)-1-i)), Y: vg.Points(middle)}
		g.Text(side, line, Style{Size: TextSize, Left: 0.5, Turn: QuarterTurn})
	}
	g.Picture.Note("bar %s to %s %s, under %t, over %t", say.Short(r.low), say.Short(r.high), r.Units, r.under, r.over)
}

// barEnds draws the rim of the bar, pointed where values lie beyond its end.
func (g *Page) barEnds(r Ramp, b vg.Rectangle) {
	middle := (b.Min.X + b.Max.X) / 2
	rim := []vg.Point{b.Min}
	if r.under {
		tip := vg.Point{X: middle, Y: b.Min.Y - 8}
		g.Fill(r.Color(r.low), []vg.Point{b.Min, tip, {X: b.Max.X, Y: b.Min.Y}})
		rim = append(rim, tip)
	}
	rim = append(rim, vg.Point{X: b.Max.X, Y: b.Min.Y}, b.Max)
	if r.over {
		tip := vg.Point{X: middle, Y: b.Max.Y + 8}
		g.Fill(r.Color(r.high), []vg.Point{b.Max, tip, {X: b.Min.X, Y: b.Max.Y}})
		rim = append(rim, tip)
	}
	g.Loop(append(rim, vg.Point{X: b.Min.X, Y: b.Max.Y}), 0.7, Black)
}

// barImage is the ramp, its high end in the first row.
func barImage(r Ramp) image.Image {
	const rows = 256
	img := image.NewRGBA(image.Rect(0, 0, 2, rows))
	for j := range rows {
		share := 1 - (float64(j)+0.5)/rows
		v := r.low * math.Pow(r.high/r.low, share)
		img.Set(0, j, r.Color(v))
		img.Set(1, j, r.Color(v))
	}
	return img
}
