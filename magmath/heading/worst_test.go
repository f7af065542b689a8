package heading

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func equalWithin(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func TestLevel(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct {
		name         string
		d            r3.Vec
		h, want      float64
		anyDirection bool
	}{
		{"sine of 30 degrees", r3.Vec{X: 6, Y: -8, Z: 90}, 20, 30, false},
		{"none", r3.Vec{Z: 50}, 20, 0, false},
		{"just below", r3.Vec{Y: 19.999999}, 20, math.Asin(19.999999/20) / degree, false},
		{"equal", r3.Vec{X: 12, Y: 16}, 20, 180, true},
		{"more", r3.Vec{X: 21}, 20, 180, true},
		{"no field", r3.Vec{}, 0, 180, true},
		{"endless", r3.Vec{X: inf}, 20, 180, true},
	} {
		deg, anyDirection := Level(c.d, c.h)
		equalWithin(t, c.name, deg, c.want, 1e-9)
		if anyDirection != c.anyDirection {
			t.Errorf("%s: any direction %t", c.name, anyDirection)
		}
	}
	for _, c := range []struct {
		d r3.Vec
		h float64
	}{{r3.Vec{X: nan}, 20}, {r3.Vec{X: 1}, nan}} {
		if deg, anyDirection := Level(c.d, c.h); !math.IsNaN(deg) || anyDirection {
			t.Errorf("%v in %g gives %g, %t", c.d, c.h, deg, anyDirection)
		}
	}
}

// Source: IEC 60945 clause 11.2 and ISO 25862: the compass-safe limits of
// 5.4 deg and 18 deg over H (H in microtesla), which are 94.2 and 314 nT
// whatever H is.
func TestCompassSafeLimits(t *testing.T) {
	for _, h := range []float64{12, 18, 30} {
		standard, _ := Level(r3.Vec{Y: 0.0942}, h)
		equalWithin(t, "standard", standard, 5.4/h, 0.001*5.4/h)
		reduced, _ := Level(r3.Vec{Y: 0.314}, h)
		equalWithin(t, "reduced", reduced, 18/h, 0.001*18/h)
	}
}

// The rule against the compass itself: a sensor that turns with the craft and a
// reading taken from the levelled field, over headings, directions of lean and
// leans. The worst found on the grid must not pass the rule and must come near
// it: a grid of 3 and 4 degrees misses a smooth maximum by less than 0.2 per
// cent of d, which near the edge of any direction is magnified by 1/cos.
func TestWorstAgainstRotations(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 0))
	for trial := range 24 {
		h := 10 + 25*r.Float64()
		lean := []float64{0, 5, 20, 45, 90}[trial%5]
		d := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: 2 * r.NormFloat64()}
		d = r3.Scale(h*0.9*r.Float64()/r3.Norm(d), d)
		want, anyDirection := Worst(d, h, lean)
		if anyDirection {
			t.Fatalf("trial %d: any direction", trial)
		}
		got := worstByRotation(d, h, lean)
		slack := 0.005 * r3.Norm(d) / (h * math.Cos(want*degree)) / degree
		if got > want+1e-9 || got < want-slack {
			t.Errorf("trial %d, %v in %g, lean %g: %g by rotation, %g by rule", trial, d, h, lean, got, want)
		}
	}
}

// A disturbance of twice H: some heading reads the opposite of the truth. The
// grid of 3 degrees misses it by up to 1.5, which the reading doubles.
func TestAnyDirectionByRotation(t *testing.T) {
	d := r3.Vec{X: 3, Y: 40, Z: 5}
	if got := worstByRotation(d, 20, 0); got < 176 {
		t.Errorf("worst %g degrees, want nearly 180", got)
	}
	if _, anyDirection := Worst(d, 20, 0); !anyDirection {
		t.Error("any direction not told")
	}
}

func worstByRotation(d r3.Vec, h, lean float64) float64 {
	worst := 0.0
	for tau := range 11 {
		for phi := 0; phi < 360; phi += 4 {
			for psi := 0; psi < 360; psi += 3 {
				e := compassError(d, h, float64(psi), float64(phi), lean*float64(tau)/10)
				worst = max(worst, math.Abs(e))
			}
			if lean*float64(tau) == 0 {
				break
			}
		}
	}
	return worst
}

// compassError is the error of the compass at heading psi when the craft leans
// by tau about the horizontal axis that points phi from the nose.
func compassError(d r3.Vec, h, psi, phi, tau float64) float64 {
	const down = 40.0
	sin, cos := math.Sincos(psi * degree)
	level := r3.Vec{X: h * cos, Y: -h * sin, Z: down} // the Earth's field in level axes along the nose
	axis := r3.Vec{X: math.Cos(phi * degree), Y: math.Sin(phi * degree)}
	lean := r3.NewRotation(tau*degree, axis)
	back := r3.NewRotation(-tau*degree, axis)
	sensed := r3.Add(back.Rotate(level), d)
	levelled := lean.Rotate(sensed)
	reading := math.Atan2(-levelled.Y, levelled.X) / degree
	return math.Remainder(reading-psi, 360)
}

func TestTilt(t *testing.T) {
	d := r3.Vec{X: 3, Y: 4, Z: -12}
	for _, c := range []struct{ tilt, b float64 }{
		{0, 5},
		{-3, 5},
		{10, 13 * math.Cos(math.Atan2(12, 5)-10*degree)},
		{67.3, 13 * math.Cos(math.Atan2(12, 5)-67.3*degree)},
		{67.4, 13}, // the angle of d above the horizontal is 67.38 degrees
		{90, 13},
		{120, 13},
	} {
		equalWithin(t, fmt.Sprintf("tilt %g", c.tilt), newTilt(c.tilt).horizontal(d), c.b, 1e-12*13)
	}
	if b := newTilt(90).horizontal(r3.Vec{Z: 7}); b != 7 {
		t.Errorf("straight up at any attitude: %g", b)
	}
}

func BenchmarkWorst(b *testing.B) {
	for b.Loop() {
		Worst(r3.Vec{X: 1, Y: 2, Z: 3}, 18, 20)
	}
}
