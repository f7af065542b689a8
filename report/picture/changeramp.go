package picture

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/palette"
	"gonum.org/v1/plot/palette/moreland"

	"quietmount/report/draw"
)

// twoWay gives signed values a colour: blue below nothing, red above it, white
// where a survey would not repeat better. Beyond the white band the scale is
// logarithmic, so that one station on top of a magnet does not leave all
// others without colour.
// Source: K. Moreland (2009), Diverging color maps for scientific
// visualization, LNCS 5876, 92-103, as gonum carries it.
type twoWay struct {
	most, band float64 // symmetric limits, half the width of the white band
	over       bool    // values lie beyond the limits
	table      palette.ColorMap
}

// The white band's share of the bar, and the palest colour beside it.
const (
	bandShare = 0.12
	palest    = 0.2
)

// newTwoWay spans the values seen, rounded outwards, at most a thousand times
// what a place repeats to, which is half the band's width.
func newTwoWay(values []float64, repeats float64) twoWay {
	most := 0.0
	for _, v := range values {
		most = max(most, math.Abs(v))
	}
	r := twoWay{band: max(repeats, 1e-3), table: moreland.SmoothBlueRed()}
	limit := draw.Step125(1000*r.band, math.Floor)
	r.most = min(draw.Step125(max(most, 5*r.band), math.Ceil), limit)
	r.over = most > r.most
	r.table.SetMin(-1)
	r.table.SetMax(1)
	return r
}

// share is where v stands between the limits, -1 to 1.
func (r twoWay) share(v float64) float64 {
	size := math.Abs(v) / r.band
	if size <= 1 {
		return v / r.band * bandShare
	}
	s := bandShare + (1-bandShare)*math.Log(size)/math.Log(r.most/r.band)
	return math.Copysign(min(s, 1), v)
}

func (r twoWay) color(v float64) color.Color {
	if math.IsNaN(v) || math.Abs(v) <= r.band {
		return draw.White
	}
	return r.shade(r.share(v))
}

func (r twoWay) shade(share float64) color.Color {
	if math.Abs(share) <= bandShare {
		return draw.White
	}
	depth := palest + (1-palest)*(math.Abs(share)-bandShare)/(1-bandShare)
	c, err := r.table.At(math.Copysign(min(depth, 1), share))
	if err != nil {
		return draw.White
	}
	return c
}

// ticks are the bar's, from the lowest: 0 and those of 1, 2, 5, 10, ... that
// lie beyond the band, every other one where there are many.
func (r twoWay) ticks() []float64 {
	var up []float64
	for v := r.most; v > 1.15*r.band; v = draw.Step125(v*0.99, math.Floor) {
		up = append(up, v)
	}
	if len(up) > 5 {
		var some []float64
		for i, v := range up {
			if i%2 == 0 {
				some = append(some, v)
			}
		}
		up = some
	}
	var out []float64
	for _, v := range up {
		out = append(out, -v)
	}
	out = append(out, 0)
	for i := range up {
		out = append(out, up[len(up)-1-i])
	}
	return out
}

// bar is the ramp, its high end in the first row.
func (r twoWay) bar() image.Image {
	const rows = 255
	img := image.NewRGBA(image.Rect(0, 0, 2, rows))
	for j := range rows {
		c := r.shade(1 - 2*(float64(j)+0.5)/rows)
		img.Set(0, j, c)
		img.Set(1, j, c)
	}
	return img
}
