package heading

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Mounting is how a module is mounted and where its compass is used: heading
// errors are for the craft that leans and the hand that slips, not for a level
// craft and the exact place.
type Mounting struct {
	HUT     float64 // horizontal field at the site, microtesla
	HSDUT   float64 // its standard uncertainty, microtesla
	TiltDeg float64 // the craft leans up to this, in whatever direction
	SlipMM  float64 // the module is set down within this distance of the place that was meant
}

// Exact returns the mounting of a module that is set down exactly where it was
// meant, on a craft that leans.
func (m Mounting) Exact() Mounting {
	m.SlipMM = 0
	return m
}

// Level returns the mounting of a module at the exact place on a level craft.
func (m Mounting) Level() Mounting {
	m.TiltDeg, m.SlipMM = 0, 0
	return m
}

// SlipPlaces is the number of places that Slips returns.
const SlipPlaces = 32

// golden is the angle that spreads points evenly over a disc, radians.
const golden = math.Pi * (3 - 2.23606797749979)

// Slips returns places that stand for a slip of the hand, uniform in a disc of
// the radius: offsets along x and y, in the unit of the radius. Turned by a right
// angle they stay the same places, so that a field that changes evenly has its
// mean at the middle, and its variance does not depend on the direction in which
// it changes. They are the same in every run.
//
// Source: H. Vogel, A better way to construct the sunflower head, Mathematical
// Biosciences 44 (1979) 179.
func Slips(radius float64) []r2.Vec {
	const quarter = SlipPlaces / 4
	out := make([]r2.Vec, 0, SlipPlaces)
	for k := range quarter {
		r := radius * math.Sqrt((float64(k)+0.5)/quarter)
		sin, cos := math.Sincos(golden / 4 * float64(k))
		p := r2.Vec{X: r * cos, Y: r * sin}
		out = append(out, p, r2.Vec{X: -p.Y, Y: p.X}, r2.Vec{X: -p.X, Y: -p.Y}, r2.Vec{X: p.Y, Y: -p.X})
	}
	return out
}

// slipped is the quantile over the slip that counts as the error at a place.
const slipped = 0.95

// AtPlace returns the heading error, degrees, of known fields at a place, as
// mounted: the 0.95 quantile, over the slip of the hand, of the error worst over
// headings, leans and the combinations of loads. Covariances and the uncertainty
// of H are not looked at. Combos are those of Sampler.WorstPosterior.
func (m Mounting) AtPlace(loads []Load, combos [][]int) float64 {
	t := newTilt(m.TiltDeg)
	means := make([]r3.Vec, len(loads))
	for l, load := range loads {
		means[l] = load.Mean
	}
	deg, _ := errorOf(t.slippedMost(loads, means, combos, m.SlipMM), m.HUT)
	return deg
}

// slippedMost returns the 0.95 quantile over the slip of the largest horizontal
// part that the combos have, their loads' fields at the exact place being d.
func (t tilt) slippedMost(loads []Load, d []r3.Vec, combos [][]int, slipMM float64) float64 {
	if slipMM == 0 || !slices.ContainsFunc(loads, func(l Load) bool { return len(l.Slip) > 0 }) {
		return t.most(d, combos)
	}
	// The quantile lies between the second and the third largest of the places.
	var first, second, third float64
	for k := range SlipPlaces {
		b := 0.0
		for _, combo := range combos {
			var sum r3.Vec
			for _, l := range combo {
				at := d[Loaded(l)]
				if slip := loads[Loaded(l)].Slip; len(slip) > 0 {
					at = r3.Add(at, slip[k])
				}
				sum = r3.Add(sum, signed(at, l))
			}
			b = max(b, t.horizontal(sum))
		}
		switch {
		case math.IsNaN(b):
			return b
		case b > first:
			first, second, third = b, first, second
		case b > second:
			second, third = b, second
		case b > third:
			third = b
		}
	}
	const pos = slipped*SlipPlaces - 0.5 // of SlipPlaces in order, counted from zero; see ordered.quantile
	return third + (pos-(SlipPlaces-3))*(second-third)
}

// most returns the largest horizontal part that the combos of some fields have.
func (t tilt) most(d []r3.Vec, combos [][]int) float64 {
	most := 0.0
	for _, combo := range combos {
		var sum r3.Vec
		for _, l := range combo {
			sum = r3.Add(sum, signed(d[Loaded(l)], l))
		}
		if b := t.horizontal(sum); b > most || math.IsNaN(b) {
			most = b
		}
	}
	return most
}
