package report

import (
	"image"
	"math"

	"gonum.org/v1/plot/vg"
)

// bar draws a ramp's colour bar from low to high, its left side at x, the words
// left of it.
func (g *page) bar(r ramp, limit float64, lines []string, x, low, high float64) {
	height, middle := high-low, (low+high)/2
	rect := vg.Rectangle{Min: vg.Point{X: vg.Points(x), Y: vg.Points(low)}, Max: vg.Point{X: vg.Points(x + 12), Y: vg.Points(high)}}
	g.pic.bar = rect
	g.image(rect, barImage(r))
	g.barEnds(r, rect)
	for _, v := range r.ticks {
		y := vg.Points(low + height*r.share(v))
		at := vg.Point{X: rect.Max.X, Y: y}
		g.line([]vg.Point{at, at.Add(vg.Point{X: 3})}, 0.7, black)
		g.text(at.Add(vg.Point{X: 5}), short(v), style{size: textSize, low: 0.5})
		g.pic.note("tick %s at %.1f", short(v), y.Points())
	}
	if limit > r.low && limit < r.high {
		y := vg.Points(low + height*r.share(limit))
		g.line([]vg.Point{{X: rect.Min.X - 2, Y: y}, {X: rect.Max.X + 2, Y: y}}, 4, white)
		g.line([]vg.Point{{X: rect.Min.X - 2, Y: y}, {X: rect.Max.X + 2, Y: y}}, 2.2, black)
	}
	for i, line := range lines {
		side := vg.Point{X: rect.Min.X - vg.Points(6+leading*float64(len(lines)-1-i)), Y: vg.Points(middle)}
		g.text(side, line, style{size: textSize, left: 0.5, turn: quarterTurn})
	}
	g.pic.note("bar %s to %s %s, under %t, over %t", short(r.low), short(r.high), r.units, r.under, r.over)
}

// barEnds draws the rim of the bar, pointed where values lie beyond its end.
func (g *page) barEnds(r ramp, b vg.Rectangle) {
	middle := (b.Min.X + b.Max.X) / 2
	rim := []vg.Point{b.Min}
	if r.under {
		tip := vg.Point{X: middle, Y: b.Min.Y - 8}
		g.fill(r.color(r.low), []vg.Point{b.Min, tip, {X: b.Max.X, Y: b.Min.Y}})
		rim = append(rim, tip)
	}
	rim = append(rim, vg.Point{X: b.Max.X, Y: b.Min.Y}, b.Max)
	if r.over {
		tip := vg.Point{X: middle, Y: b.Max.Y + 8}
		g.fill(r.color(r.high), []vg.Point{b.Max, tip, {X: b.Min.X, Y: b.Max.Y}})
		rim = append(rim, tip)
	}
	g.loop(append(rim, vg.Point{X: b.Min.X, Y: b.Max.Y}), 0.7, black)
}

// barImage is the ramp, its high end in the first row.
func barImage(r ramp) image.Image {
	const rows = 256
	img := image.NewRGBA(image.Rect(0, 0, 2, rows))
	for j := range rows {
		share := 1 - (float64(j)+0.5)/rows
		v := r.low * math.Pow(r.high/r.low, share)
		img.Set(0, j, r.color(v))
		img.Set(1, j, r.color(v))
	}
	return img
}
