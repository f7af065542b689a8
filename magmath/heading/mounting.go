package heading

import (
	"cmp"
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
	means := make([]r3.Vec, len(loads))
	for l, load := range loads {
		means[l] = load.Mean
	}
	s := Slipped{hUT: m.HUT}
	s.take(newTilt(m.TiltDeg), loads, combos, m.SlipMM)
	return s.Error(means)
}

// Slipped is AtPlace for many fields that the same loads may have at one place. It
// must not be used by two goroutines at once.
type Slipped struct {
	sliding
	hUT float64
}

// Slipped makes ready for loads, whose means are not looked at.
func (m Mounting) Slipped(loads []Load, combos [][]int) *Slipped {
	s := &Slipped{hUT: m.HUT}
	s.take(newTilt(m.TiltDeg), loads, combos, m.SlipMM)
	s.arrange()
	return s
}

// Error returns the error of AtPlace, degrees, for the loads' fields d at the exact
// place, microtesla.
func (s *Slipped) Error(d []r3.Vec) float64 {
	deg, _ := errorOf(s.most(d), s.hUT)
	return deg
}

// sliding is what a slip of the hand adds to the combinations of loads at a place.
type sliding struct {
	tilt
	combos [][]int
	at     []r3.Vec // of each combo, the sum of its loads' fields at the exact place
	slips  []slide  // none: nothing slips
	by     []r3.Vec // of each slip, what it adds to each combo
}

// slide is a place of the slip with a bound of the horizontal part that it adds to
// any combination.
type slide struct {
	place  int
	length float64
}

// take makes ready for the loads, whose means are not looked at.
func (s *sliding) take(t tilt, loads []Load, combos [][]int, slipMM float64) {
	s.tilt, s.combos, s.slips, s.by = t, combos, s.slips[:0], s.by[:0]
	for len(s.at) < len(combos) {
		s.at = append(s.at, r3.Vec{})
	}
	if slipMM == 0 || !slices.ContainsFunc(loads, func(l Load) bool { return len(l.Slip) > 0 }) {
		return
	}
	for k := range SlipPlaces {
		for _, combo := range combos {
			var sum r3.Vec
			for _, l := range combo {
				if slip := loads[Loaded(l)].Slip; len(slip) > 0 {
					sum = r3.Add(sum, signed(slip[k], l))
				}
			}
			s.by = append(s.by, sum)
		}
		s.slips = append(s.slips, slide{k, math.Inf(1)})
	}
}

// arrange puts the slips that add most first, which pays where most is asked for
// often.
func (s *sliding) arrange() {
	for i := range s.slips {
		length := 0.0
		for _, by := range s.by[s.slips[i].place*len(s.combos):][:len(s.combos)] {
			length = max(length, s.horizontal(by))
		}
		if !math.IsNaN(length) {
			s.slips[i].length = length
		}
	}
	slices.SortFunc(s.slips, func(a, b slide) int { return cmp.Or(cmp.Compare(b.length, a.length), a.place-b.place) })
}

// most returns the 0.95 quantile over the slip of the largest horizontal part that
// the combos have, their loads' fields at the exact place being d.
//
// The quantile lies between the second and the third largest of the places. The
// horizontal part is a seminorm: once the longest of the slips that are left cannot
// bring the field at the exact place over the third, none of them can.
func (s *sliding) most(d []r3.Vec) float64 {
	exact := 0.0
	for c, combo := range s.combos {
		var sum r3.Vec
		for _, l := range combo {
			sum = r3.Add(sum, signed(d[Loaded(l)], l))
		}
		s.at[c] = sum
		if b := s.horizontal(sum); b > exact || math.IsNaN(b) {
			exact = b
		}
	}
	if len(s.slips) == 0 || math.IsNaN(exact) {
		return exact
	}
	var first, second, third float64
	for _, x := range s.slips {
		if exact+x.length <= third {
			break
		}
		b := 0.0
		for c, by := range s.by[x.place*len(s.combos):][:len(s.combos)] {
			b = max(b, s.horizontal(r3.Add(s.at[c], by)))
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
