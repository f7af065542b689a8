package builtcraft

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// How a lead differs from its drawing. Common practice, no source.
const (
	cornerMM   = 12   // half the length over which a corner is rounded
	wanderMM   = 1.5  // rms of a coordinate off the straight run
	wanderRad  = 0.4  // rms turn of the plane of the two conductors
	unevenPart = 0.25 // rms change of the gap, of the nominal gap
	leastGapMM = 1.5  // between the middles of two conductors that touch
	fanMM      = 12   // the conductors fan out over the last so many mm
	pieceMM    = 3    // longest piece of a conductor
	roofGapMM  = 4    // between the deck and the highest conductor
)

// laid is a lead as it lies in the craft.
type laid struct {
	path    []r3.Vec // as a builder would draw it
	gapMM   float64  // nominal
	pitchMM float64  // of the twist; 0: side by side
	sagMM   float64
	boardMM float64 // size of the loops at both ends
	roofMM  float64 // z that no conductor rises above
}

// ripple is a smooth random function of the length along a lead, rms 1.
type ripple [3]struct{ perMM, phase float64 }

func newRipple(rng *rand.Rand) ripple {
	var r ripple
	for i := range r {
		r[i].perMM, r[i].phase = 2*math.Pi/(70+130*rng.Float64()), 2*math.Pi*rng.Float64()
	}
	return r
}

func (r ripple) at(s float64) float64 {
	sum := 0.0
	for _, w := range r {
		sum += math.Sin(w.perMM*s + w.phase)
	}
	return sum * math.Sqrt(2./3)
}

// circuit lays the two conductors and returns the closed circuit out and back: along the
// one conductor, around the board at the far end, back along the other and around the
// pack.
func (l laid) circuit(rng *rand.Rand) []element {
	length := 0.0
	for i := 1; i < len(l.path); i++ {
		length += r3.Norm(r3.Sub(l.path[i], l.path[i-1]))
	}
	off := [3]ripple{newRipple(rng), newRipple(rng), newRipple(rng)}
	turn, gap := newRipple(rng), newRipple(rng)
	start, fan := 2*math.Pi*rng.Float64(), 3+4*rng.Float64()
	reference := normal3(rng)
	n := int(length/pieceMM) + 2
	if l.pitchMM > 0 {
		n = max(n, int(12*length/l.pitchMM)+1)
	}
	var out, back []r3.Vec
	for i := range n + 1 {
		s := length * float64(i) / float64(n)
		edge := min(s, length-s)
		loose := wanderMM * min(1, edge/20)
		at := r3.Add(l.rounded(s, min(cornerMM, edge)), r3.Vec{X: loose * off[0].at(s), Y: loose * off[1].at(s), Z: loose*off[2].at(s) + l.sagMM*4*s*(length-s)/(length*length)})
		along := r3.Unit(r3.Sub(l.point(s+1), l.point(s-1)))
		u := r3.Unit(r3.Cross(along, reference))
		v := r3.Cross(along, u)
		angle := start + wanderRad*turn.at(s)
		if l.pitchMM > 0 {
			angle += 2 * math.Pi * s / l.pitchMM
		}
		apart := max(leastGapMM, l.gapMM*(1+unevenPart*gap.at(s))) + fan*max(0, 1-edge/fanMM)
		sin, cos := math.Sincos(angle)
		half := r3.Scale(apart/2, r3.Add(r3.Scale(cos, u), r3.Scale(sin, v)))
		out, back = append(out, r3.Add(at, half)), append(back, r3.Sub(at, half))
	}
	around := func(a, b r3.Vec) []r3.Vec {
		bulge := r3.Scale(l.boardMM, r3.Unit(normal3(rng)))
		return []r3.Vec{a, r3.Add(a, bulge), r3.Add(b, bulge), b}
	}
	far, near := around(out[n], back[n]), around(back[0], out[0])
	points := append(out, fine(far)...)
	for i := n; i >= 0; i-- {
		points = append(points, back[i])
	}
	points = append(points, fine(near)...)
	for i := range points {
		points[i].Z = max(points[i].Z, l.roofMM)
	}
	return wire(points)
}

// fine cuts the sides of a polygon into pieces of pieceMM at most.
func fine(corners []r3.Vec) []r3.Vec {
	out := []r3.Vec{corners[0]}
	for i := 1; i < len(corners); i++ {
		d := r3.Sub(corners[i], corners[i-1])
		n := int(r3.Norm(d)/pieceMM) + 1
		for k := range n {
			out = append(out, r3.Add(corners[i-1], r3.Scale(float64(k+1)/float64(n), d)))
		}
	}
	return out
}

// rounded returns the mean of the drawn path within half mm of the length s.
func (l laid) rounded(s, half float64) r3.Vec {
	var sum r3.Vec
	const terms = 7
	for i := range terms {
		sum = r3.Add(sum, l.point(s+half*(2*float64(i)/(terms-1)-1)))
	}
	return r3.Scale(1./terms, sum)
}

// point returns the place at the length s along the drawn path, prolonged at both ends.
func (l laid) point(s float64) r3.Vec {
	for i := 1; ; i++ {
		d := r3.Sub(l.path[i], l.path[i-1])
		n := r3.Norm(d)
		if s <= n || i == len(l.path)-1 {
			return r3.Add(l.path[i-1], r3.Scale(s/n, d))
		}
		s -= n
	}
}

// normal3 draws a vector of three independent standard normal numbers.
func normal3(rng *rand.Rand) r3.Vec {
	return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
}
