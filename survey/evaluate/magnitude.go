package evaluate

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/room"
)

// Without a background the vectors of an unpowered craft cannot be told from
// the room, but their lengths nearly can: the room's own strength is that of
// the reference to some microtesla.
const (
	roomOffsetUT  = 3   // prior of the room's strength about the reference
	blindUT       = 1e3 // standard deviation across the direction that a length says something of
	fewMagnitudes = 6   // stations under which lengths are not made into a map
)

// byMagnitude is a map that rests on lengths. It does not embed the map: its
// readings are no vectors, and must not be taken for such.
type byMagnitude struct{ m *fieldmap.Map }

// At implements Field.
func (b byMagnitude) At(p r3.Vec) (r3.Vec, magmath.Mat3) { return b.m.At(p) }

// Predict is At for many places.
func (b byMagnitude) Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3) { return b.m.Predict(points) }

// Joint returns the joint posterior.
func (b byMagnitude) Joint(points []r3.Vec) ([]r3.Vec, *mat.SymDense) { return b.m.Joint(points) }

// Means returns the means that Predict returns.
func (b byMagnitude) Means(points []r3.Vec) []r3.Vec { return b.m.Means(points) }

// Ceiling returns covariances that are nowhere smaller than those of Predict.
func (b byMagnitude) Ceiling(points, _ []r3.Vec) []magmath.Mat3 { return b.m.Ceiling(points) }

// magnitudeMap returns the steady disturbance from magnitudes alone; false where a
// background tells more, or too few stations were captured. With B0 the room's
// field and d the disturbance,
//
//	|B0 + d| - |B0| = u . d,  u = (2 B0 + d)/(|B0 + d| + |B0|),
//
// exactly; u is taken from the captured vector, in which the hand's tilt
// matters little. What lies across u is left to the harmonic model, and all
// stations share the room's unknown offset.
func (e *evaluation) magnitudeMap(ctx context.Context) (Field, bool) {
	var at []r3.Vec
	var b []r3.Vec
	var noise []float64
	seen := map[int]bool{}
	for i, o := range e.obs {
		if _, doubted := e.doubted[i]; doubted || !o.Craft || o.Pulsed || o.Load != room.NoLoad || e.index.stations[o.Station].IsBase || seen[o.Station] {
			continue
		}
		if e.background[o.Room] {
			return nil, false
		}
		seen[o.Station] = true
		at, b = append(at, o.At), append(b, o.B)
		along := r3.Unit(o.B)
		noise = append(noise, r3.Dot(along, o.Noise(e.result.Hyper).Apply(along))+1e-4)
	}
	if len(at) < fewMagnitudes {
		return nil, false
	}
	m, err := fieldmap.Fit(ctx, e.magnitudeReadings(at, b, noise), e.harmonic(at))
	if err != nil {
		return nil, false
	}
	return byMagnitude{m}, true
}

// magnitudeReadings returns magnitudes as vectors along u whose other components
// are hardly known.
func (e *evaluation) magnitudeReadings(at, b []r3.Vec, noise []float64) magmath.Readings {
	f := e.f.Reference.F / 1000
	room0 := r3.Scale(f, r3.Unit(medianVector(b)))
	d := magmath.Readings{At: at, B: make([]r3.Vec, len(at)), Noise: mat.NewSymDense(3*len(at), nil)}
	u := make([]r3.Vec, len(at))
	for i, v := range b {
		k := r3.Scale(1/(r3.Norm(v)+f), r3.Add(room0, v))
		size := r3.Norm(k)
		u[i] = r3.Scale(1/size, k)
		d.B[i] = r3.Scale((r3.Norm(v)-f)/size, u[i])
	}
	for i := range at {
		for j := i; j < len(at); j++ {
			m := magmath.Outer(u[i], u[j]).Scale(roomOffsetUT * roomOffsetUT)
			if i == j {
				m = m.Add(magmath.Outer(u[i], u[i]).Scale(noise[i] - blindUT*blindUT)).Add(magmath.Diagonal(blindUT*blindUT, blindUT*blindUT, blindUT*blindUT))
			}
			magmath.AddBlock(d.Noise, 3*i, 3*j, m)
		}
	}
	return d
}

// harmonic returns the covariances under which one component determines the
// others. Named magnets stay out: lengths alone hold them too loosely, and the
// intervals would be too narrow.
func (e *evaluation) harmonic(at []r3.Vec) []fieldmap.Candidate {
	ones := make([]r3.Vec, len(at))
	for i := range ones {
		ones[i] = r3.Vec{X: 1, Y: 1, Z: 1}
	}
	cs := fieldmap.Candidates(magmath.Readings{At: at, B: ones}, e.spacing, e.lowestZ())[2:3]
	for i := range cs {
		cs[i].Spread[0] = 2.5 // how strong a disturbance is, is not known beforehand
	}
	return cs
}

func medianVector(b []r3.Vec) r3.Vec {
	m := magmath.MedianVec(b)
	if !(r3.Norm(m) > 0) || math.IsInf(r3.Norm(m), 0) {
		return r3.Vec{Z: 1}
	}
	return m
}
