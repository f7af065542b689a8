package picture

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot/palette"
	"gonum.org/v1/plot/palette/moreland"

	"quietmount/report/draw"
	"quietmount/report/say"
)

// twoWay gives signed values a colour: blue for negative, red for positive, white
// within the repeatability of a survey. Beyond the white band the scale is
// logarithmic, so that one station next to a magnet does not leave all others
// without colour.
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

// newTwoWay returns colours that span the values, rounded outwards, but at most a
// thousand times the repeatability, which is half the band's width.
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

// share returns the place of v between the limits, -1 to 1.
func (r twoWay) share(v float64) float64 {
	size := math.Abs(v) / r.band
	if size <= 1 {
		return v / r.band * bandShare
	}
	s := bandShare + (1-bandShare)*math.Log(size)/math.Log(r.most/r.band)
	return math.Copysign(min(s, 1), v)
}

// color returns the colour of a value; white for NaN.
func (r twoWay) color(v float64) color.Color {
	if math.IsNaN(v) || math.Abs(v) <= r.band {
		return draw.White
	}
	return r.shade(r.share(v))
}

// shade returns the colour at a share of the limits, -1 to 1.
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

// ticks returns the bar's ticks, upwards: 0 and those of ±1, ±2, ±5, ±10, ... that
// lie beyond the band, every other one if there are more than five.
func (r twoWay) ticks() []float64 {
	out := []float64{0}
	step := 1
	var up []float64
	for v := r.most; v > 1.15*r.band; v = draw.Step125(v*0.99, math.Floor) {
		up = append(up, v)
	}
	if len(up) > 5 {
		step = 2
	}
	for i := (len(up) - 1) / step * step; i >= 0; i -= step {
		out = append(append([]float64{-up[i]}, out...), up[i])
	}
	return out
}

// bar returns the colour bar, growth on top.
func (r twoWay) bar() draw.Bar {
	b := draw.Bar{
		Color: func(share float64) color.Color { return r.shade(2*share - 1) }, Rows: 255,
		Note: fmt.Sprintf("bar %s either way, white within %s", say.Short(r.most), say.Tenths(r.band)),
	}
	for _, v := range r.ticks() {
		words := say.Short(v)
		switch {
		case r.over && v == r.most:
			words = "over +" + words
		case v > 0:
			words = "+" + words
		}
		b.Ticks = append(b.Ticks, draw.Tick{Share: (1 + r.share(v)) / 2, Words: words})
	}
	return b
}
