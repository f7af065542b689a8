package report

import (
	"fmt"
	"image/color"
	"math"
	"strconv"
)

// cividis is a colour map from dark blue (0) to light yellow (1), the same to
// readers with and without colour vision deficiency, its lightness rising
// evenly.
// Source: Nunez, Anderton, Renslow (2018), PLoS ONE 13(7) e0199239; the
// polynomials are those of d3-scale-chromatic 3.1.1, interpolateCividis.
func cividis(t float64) color.RGBA {
	t = min(max(t, 0), 1)
	r := -4.54 - t*(35.34-t*(2381.73-t*(6402.7-t*(7024.72-t*2710.57))))
	g := 32.49 + t*(170.73+t*(52.82-t*(131.46-t*(176.58-t*67.37))))
	b := 81.24 + t*(442.36-t*(2482.43-t*(6167.24-t*(6614.94-t*2475.67))))
	return color.RGBA{channel(r), channel(g), channel(b), 0xff}
}

func channel(v float64) uint8 { return uint8(math.Round(min(max(v, 0), 255))) }

// ramp gives values a colour on a logarithmic scale: light is quiet, dark is
// disturbed. Values beyond its ends keep the end's colour.
type ramp struct {
	low, high    float64
	under, over  bool // values lie beyond the ends
	ticks        []float64
	title, units string
}

// newRamp spans the values that matter: from the quietest twentieth to the
// loudest fiftieth, rounded outwards to 1, 2 or 5, at least a factor of ten and
// at most a thousand. Positive finite values count; must is always on it.
func newRamp(sorted []float64, must float64) ramp {
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
	low, high = step125(low, math.Floor), step125(high, math.Ceil)
	low = max(low, step125(high/1000, math.Ceil))
	for high < low*9.99 {
		low = step125(low*0.99, math.Floor)
	}
	r := ramp{low: low, high: high}
	if n := len(sorted); n > 0 {
		r.under, r.over = sorted[0] < low*(1-1e-9), sorted[n-1] > high*(1+1e-9)
	}
	for v := low; v <= high*1.001; v = step125(v*1.01, math.Ceil) {
		r.ticks = append(r.ticks, v)
	}
	return r
}

// step125 is the neighbour of v among ..., 1, 2, 5, 10, ... on the side that
// round (math.Floor or math.Ceil) takes; v itself if it is one. v is positive.
func step125(v float64, round func(float64) float64) float64 {
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

// share is where v lies between the ends: 0 low, 1 high.
func (r ramp) share(v float64) float64 {
	if !(v > r.low) {
		return 0
	}
	return min(1, math.Log(v/r.low)/math.Log(r.high/r.low))
}

// color is the colour of v; white for NaN.
func (r ramp) color(v float64) color.Color {
	if math.IsNaN(v) {
		return white
	}
	return cividis(1 - r.share(v))
}

// short writes a number of a scale without needless digits.
func short(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
