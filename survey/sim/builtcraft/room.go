package builtcraft

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// room is the field of the place without the craft. Its frame is level, x to magnetic
// north, z down, its origin at the datum of the craft.
type room struct {
	even  r3.Vec   // reference and even offset, uT
	iron  []dipole // far from the bench: the gradient
	waves []wave
}

type wave struct {
	high           r3.Vec // uT
	periodS, phase float64
}

// roomSize says how far a kind of place is from the reference field.
type roomSize struct {
	offsetPart float64    // of |B|, standard deviation a component
	along      [2]float64 // of |B|, least and most change of the magnitude, either sign
	ironUT     float64    // of each far iron at the datum, about
}

func sizeOf(k Kind) roomSize {
	switch k {
	case Quiet:
		return roomSize{offsetPart: 0.003, ironUT: 0.2}
	case Indoor:
		return roomSize{offsetPart: 0.015, along: [2]float64{0.03, 0.08}, ironUT: 2}
	}
	return roomSize{offsetPart: 0.01, ironUT: 0.6}
}

// newRoom draws the room of a kind around the reference field, uT in the frame of the
// room.
func newRoom(rng *rand.Rand, reference r3.Vec, k Kind) room {
	size := sizeOf(k)
	total := r3.Norm(reference)
	ratio := 1.0
	if part := size.along[0] + (size.along[1]-size.along[0])*rng.Float64(); rng.IntN(2) == 0 {
		ratio += part
	} else {
		ratio -= part
	}
	r := room{even: r3.Add(r3.Scale(ratio, reference), r3.Scale(size.offsetPart*total, normal3(rng)))}
	for range 2 {
		away := 1800 + 1200*rng.Float64()
		at := r3.Scale(away, r3.Unit(normal3(rng)))
		moment := r3.Scale(size.ironUT*away*away*away/dipoleUT/math.Sqrt2, r3.Unit(normal3(rng)))
		r.iron = append(r.iron, dipole{at, moment})
	}
	for k := range 8 {
		period := 600 * math.Pow(1.5, float64(k)) * (0.8 + 0.4*rng.Float64())
		high := r3.Scale(0.12*math.Sqrt(period/3600), normal3(rng))
		r.waves = append(r.waves, wave{high, period, 2 * math.Pi * rng.Float64()})
	}
	return r
}

// field returns the field at p, craft frame, with the nose at noseDeg from magnetic
// north, in the craft frame, without drift.
func (r room) field(p r3.Vec, noseDeg float64) r3.Vec {
	return yawed(r3.Add(r.even, fieldOf(r.iron, yawed(p, noseDeg))), -noseDeg)
}

// drift returns the departure of the room at the time t, in the craft frame.
func (r room) drift(t, noseDeg float64) r3.Vec {
	var b r3.Vec
	for _, w := range r.waves {
		b = r3.Add(b, r3.Scale(math.Sin(2*math.Pi*t/w.periodS+w.phase), w.high))
	}
	return yawed(b, -noseDeg)
}

// yawed turns v about z (down) by deg: clockwise seen from above.
func yawed(v r3.Vec, deg float64) r3.Vec {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return r3.Vec{X: cos*v.X - sin*v.Y, Y: sin*v.X + cos*v.Y, Z: v.Z}
}

// newSite draws a place on the Earth. An equatorial one has a dip within 15 degrees and
// H within 27 to 33 uT, the others H from 11 to 31 uT. It returns the reference field,
// uT, x to magnetic north.
func newSite(rng *rand.Rand, k Kind) (survey.Site, r3.Vec) {
	s := survey.Site{AltitudeM: 10, Date: "2026-06-01"}
	want := 11 + 20*rng.Float64()
	for {
		s.LatitudeDeg = math.Round(-6500+13500*rng.Float64()) / 100
		s.LongitudeDeg = math.Round(-18000+36000*rng.Float64()) / 100
		if k == Equatorial && math.Abs(s.LatitudeDeg) > 25 {
			continue
		}
		e := s.Field(day)
		h, z := e.H/1000, e.Z/1000
		good := math.Abs(h-want) < 0.5
		if k == Equatorial {
			good = h > 27 && h < 33 && math.Abs(z) < h*math.Tan(15*math.Pi/180)
		}
		if good {
			return s, r3.Vec{X: h, Z: z}
		}
	}
}
