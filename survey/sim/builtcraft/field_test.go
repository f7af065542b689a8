package builtcraft

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

const mu0 = 4 * math.Pi * 1e-7

// within holds a field against another, relative to its size.
func within(t *testing.T, what string, got, want r3.Vec, part float64) {
	t.Helper()
	if r3.Norm(r3.Sub(got, want)) > part*r3.Norm(want) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// The field on the axis of a uniformly magnetised cylinder of remanence Br, radius R and
// length L, z from its near face: B = Br/2 ((z+L)/sqrt(R^2+(z+L)^2) - z/sqrt(R^2+z^2)).
// Source: the two discs of surface charge, E. P. Furlani, Permanent Magnet and
// Electromechanical Devices, section 4.2; from memory.
func TestCylinderOnItsAxis(t *testing.T) {
	const br, radius, length = 1.2, 4.5, 3.0
	axis := r3.Unit(r3.Vec{X: 1, Y: -2, Z: 0.5})
	at := r3.Vec{X: 3, Y: 4, Z: 5}
	moment := br / mu0 * math.Pi * radius * radius * length * 1e-9
	body := magnetised(cylinder(at, axis, radius, length), r3.Scale(moment, axis))
	for _, z := range []float64{10, 20, 60} {
		far := z + length
		want := br / 2 * (far/math.Hypot(radius, far) - z/math.Hypot(radius, z)) * 1e6
		got := fieldOf(body, r3.Add(at, r3.Scale(z+length/2, axis)))
		within(t, "cylinder", got, r3.Scale(want, axis), 2e-4)
	}
}

// The field on the axis of a uniformly magnetised block with sides a, b across and d
// along its moment, z from its near face: B = Br/pi (atan(ab/(2z sqrt(4z^2+a^2+b^2))) -
// the same at z+d). Source: as for the cylinder, section 4.2; from memory.
func TestBlockOnItsAxis(t *testing.T) {
	const br, a, b, d = 1.1, 8.0, 5.0, 3.0
	axis := r3.Unit(r3.Vec{X: -1, Y: 1, Z: 3})
	moment := br / mu0 * a * b * d * 1e-9
	body := magnetised(block(r3.Vec{}, axis, r3.Vec{X: d, Y: a, Z: b}), r3.Scale(moment, axis))
	face := func(z float64) float64 { return math.Atan(a * b / (2 * z * math.Sqrt(4*z*z+a*a+b*b))) }
	for _, z := range []float64{10, 20, 60} {
		want := br / math.Pi * (face(z) - face(z+d)) * 1e6
		within(t, "block", fieldOf(body, r3.Scale(z+d/2, axis)), r3.Scale(want, axis), 2e-4)
	}
}

// A solid sphere of high permeability in an even field B adds 2 B a^3/r^3 on the axis.
// Source: J. D. Jackson, Classical Electrodynamics, section 5.11; from memory.
func TestSteelSphere(t *testing.T) {
	const radius = 6.0
	s := newSteel([]grain{{r3.Vec{}, 1}}, r3.Vec{X: 1}, 4./3*math.Pi*radius*radius*radius, 1./3, 1./3)
	ambient := r3.Vec{X: 10, Y: -20, Z: 40}
	p := r3.Scale(25, r3.Unit(ambient))
	within(t, "sphere", fieldOf(s.induced(ambient), p), r3.Scale(2*math.Pow(radius/25, 3), ambient), 1e-9)
}

// A straight wire from z1 to z2, at the distance rho: B = mu0 I/(4 pi rho) (sin a2 - sin
// a1), a the angle from the foot of the perpendicular.
// Source: D. J. Griffiths, Introduction to Electrodynamics, example 5.5; from memory.
func TestStraightWire(t *testing.T) {
	const rho, low, high = 15.0, -40.0, 130.0
	var points []r3.Vec
	for z := low; z <= high+1e-9; z += pieceMM - 1 {
		points = append(points, r3.Vec{Z: z})
	}
	want := mu0 / (4 * math.Pi * rho * 1e-3) * (high/math.Hypot(high, rho) - low/math.Hypot(low, rho)) * 1e6
	within(t, "wire", ampereField(wire(points), r3.Vec{X: rho}), r3.Vec{Y: want}, 1e-6)
}

// A circular loop on its axis: B = mu0 I R^2/(2 (R^2+z^2)^(3/2)).
// Source: D. J. Griffiths, Introduction to Electrodynamics, example 5.6; from memory.
func TestCircularLoop(t *testing.T) {
	const radius = 30.0
	var points []r3.Vec
	const n = 400
	for i := range n + 1 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		points = append(points, r3.Vec{X: radius * c, Y: radius * s})
	}
	for _, z := range []float64{0, 20, 90} {
		want := mu0 * radius * radius / (2 * math.Pow(math.Hypot(radius, z), 3)) * 1e3 * 1e6
		within(t, "loop", ampereField(wire(points), r3.Vec{Z: z}), r3.Vec{Z: want}, 2e-4)
	}
}

// Only a closed circuit has a field without curl in free space; every field is without
// divergence.
func TestFieldsOfLeadsObeyMaxwell(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, pitch := range []float64{0, 30} {
		l := laid{path: []r3.Vec{{}, {X: 120, Y: 30, Z: 4}, {X: 150, Y: 160}}, gapMM: 6, pitchMM: pitch, sagMM: 4, boardMM: 8, roofMM: -10}
		c := l.circuit(rng)
		var sum r3.Vec
		for _, e := range c {
			sum = r3.Add(sum, e.along)
		}
		if r3.Norm(sum) > 1e-9 {
			t.Errorf("pitch %v: the circuit ends %v from its start", pitch, sum)
		}
		p, h := r3.Vec{X: 90, Y: 40, Z: -25}, 0.05
		slope := func(d r3.Vec) r3.Vec {
			return r3.Scale(1/(2*h), r3.Sub(ampereField(c, r3.Add(p, r3.Scale(h, d))), ampereField(c, r3.Sub(p, r3.Scale(h, d)))))
		}
		x, y, z := slope(r3.Vec{X: 1}), slope(r3.Vec{Y: 1}), slope(r3.Vec{Z: 1})
		size := r3.Norm(x) + r3.Norm(y) + r3.Norm(z)
		if d := x.X + y.Y + z.Z; math.Abs(d) > 1e-5*size {
			t.Errorf("pitch %v: divergence %g of %g", pitch, d, size)
		}
		if curl := (r3.Vec{X: y.Z - z.Y, Y: z.X - x.Z, Z: x.Y - y.X}); r3.Norm(curl) > 1e-3*size {
			t.Errorf("pitch %v: curl %v of %g", pitch, curl, size)
		}
	}
}

// Finer pieces of conductor and of magnet change no field that a sensor can meet by more
// than a tenth of a per cent.
func TestPiecesAreSmallEnough(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 20 {
		l := laid{path: []r3.Vec{{}, {X: 200, Y: 50}}, gapMM: 5, pitchMM: 25, sagMM: 4, boardMM: 8, roofMM: -10}
		seed := rng.Uint64()
		coarse := l.circuit(rand.New(rand.NewPCG(seed, 1)))
		corners := make([]r3.Vec, 0, len(coarse))
		for i := 0; i+1 < len(coarse); i += 2 { // each side has two elements: its start is before its middle
			middle, side := r3.Scale(0.5, r3.Add(coarse[i].at, coarse[i+1].at)), r3.Add(coarse[i].along, coarse[i+1].along)
			corners = append(corners, r3.Sub(middle, r3.Scale(0.5, side)))
		}
		corners = append(corners, corners[0])
		var finer []r3.Vec
		for i := 1; i < len(corners); i++ {
			for k := range 5 {
				finer = append(finer, r3.Add(corners[i-1], r3.Scale(float64(k)/5, r3.Sub(corners[i], corners[i-1]))))
			}
		}
		finer = append(finer, corners[0])
		p := r3.Vec{X: 20 + 150*rng.Float64(), Y: 50 * rng.Float64(), Z: -18}
		within(t, "lead", ampereField(coarse, p), ampereField(wire(finer), p), 1e-3)
	}
}
