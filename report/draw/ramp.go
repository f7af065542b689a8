package draw

import (
	"fmt"
	"image/color"
	"math"
	"strconv"
)

// cividisRows are rows of the published table of 256 rows, red, green and blue from
// 0 to 1. Linear interpolation between them meets the table to within two steps of
// 255.
// Source: Nunez, Anderton, Renslow (2018), PLoS ONE 13(7) e0199239; the numbers
// as carried, under CC0, by matplotlib 3, _cm_listed.py.
var cividisRows = [...]struct {
	row     float64
	r, g, b float64
}{
	{0, 0, 0.135112, 0.304751},
	{19, 0, 0.186915, 0.435532},
	{23, 0.003602, 0.195911, 0.441564},
	{31, 0.095645, 0.217643, 0.436593},
	{40, 0.154261, 0.242475, 0.430120},
	{60, 0.247605, 0.296986, 0.422917},
	{80, 0.324250, 0.351289, 0.426250},
	{100, 0.394568, 0.406236, 0.438986},
	{120, 0.461616, 0.462405, 0.461969},
	{130, 0.495913, 0.491076, 0.471751},
	{140, 0.532829, 0.520135, 0.472401},
	{160, 0.609105, 0.579816, 0.463638},
	{180, 0.687957, 0.641966, 0.442886},
	{200, 0.769353, 0.707035, 0.408516},
	{220, 0.853515, 0.775454, 0.356500},
	{240, 0.941147, 0.847530, 0.275815},
	{251, 0.992218, 0.888385, 0.205468},
	{255, 0.995737, 0.909344, 0.217772},
}

// Cividis returns the colour at t, from dark blue (0) to light yellow (1). It looks
// nearly the same with and without colour vision deficiency, and its lightness
// rises evenly.
func Cividis(t float64) color.RGBA {
	x := min(max(t, 0), 1) * 255
	i := 1
	for i < len(cividisRows)-1 && cividisRows[i].row < x {
		i++
	}
	a, b := cividisRows[i-1], cividisRows[i]
	s := (x - a.row) / (b.row - a.row)
	return color.RGBA{channel(a.r + s*(b.r-a.r)), channel(a.g + s*(b.g-a.g)), channel(a.b + s*(b.b-a.b)), 0xff}
}

func channel(v float64) uint8 { return uint8(math.Round(255 * v)) }

// Ramp gives values a colour on a logarithmic scale: light for small, dark for
// large. Values beyond its ends have the colour of the end.
type Ramp struct {
	low, high   float64
	under, over bool // values lie beyond the ends
	Ticks       []float64
	Units       string
}

// NewRamp returns a ramp over sorted positive values: from the 5 % to the 98 %
// quantile, rounded outwards to 1, 2 or 5 times a power of ten, over at least a
// factor of ten and at most a thousand. It contains must, if that is positive.
func NewRamp(sorted []float64, must float64) Ramp {
	low, high := must, must
	if n := len(sorted); n > 0 {
		low, high = sorted[n/20], sorted[n-1-n/50]
	}
	if must > 0 {
		low, high = min(low, must/2), max(high, must*2)
	}
	if !(low > 0) || !(high > 0) {
		low, high = 0.1, 1
	}
	low, high = Step125(low, math.Floor), Step125(high, math.Ceil)
	low = max(low, Step125(high/1000, math.Ceil))
	for high < low*9.99 {
		low = Step125(low*0.99, math.Floor)
	}
	r := Ramp{low: low, high: high}
	if n := len(sorted); n > 0 {
		r.under, r.over = sorted[0] < low*(1-1e-9), sorted[n-1] > high*(1+1e-9)
	}
	for v := low; v <= high*1.001; v = Step125(v*1.01, math.Ceil) {
		r.Ticks = append(r.Ticks, v)
	}
	return r
}

// Step125 rounds a positive v down (math.Floor) or up (math.Ceil) to one of ..., 1,
// 2, 5, 10, ...
func Step125(v float64, round func(float64) float64) float64 {
	steps := [3]float64{1, 2, 5}
	decade := math.Floor(math.Log10(v) + 1e-12)
	m := v / math.Pow(10, decade)
	k := 0.0 // steps above the decade, whole where m is a step
	switch {
	case m < 1.0000001:
		k = 0
	case m < 1.9999999:
		k = 0.5
	case m < 2.0000001:
		k = 1
	case m < 4.9999999:
		k = 1.5
	case m < 5.0000001:
		k = 2
	default:
		k = 2.5
	}
	n := int(round(k))
	out, _ := strconv.ParseFloat(fmt.Sprintf("%ge%d", steps[n%3], int(decade)+n/3), 64)
	return out
}

// share returns the place of v between the ends: 0 low, 1 high.
func (r Ramp) share(v float64) float64 {
	if !(v > r.low) {
		return 0
	}
	return min(1, math.Log(v/r.low)/math.Log(r.high/r.low))
}

// Color returns the colour of v; white for NaN.
func (r Ramp) Color(v float64) color.Color {
	if math.IsNaN(v) {
		return White
	}
	return Cividis(1 - r.share(v))
}
