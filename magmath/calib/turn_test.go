package calib

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Obeying the hint brings the field into the cell it names: the case is turned
// by the axis and angle, and the field, fixed in the room, is looked at again.
func TestHintLeadsThere(t *testing.T) {
	rng := testRNG(2)
	random := func() r3.Vec {
		return r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	}
	axes := magmath.Mat3{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}} // the sensor's y points along the arrow
	for range 200 {
		now, want := random(), random()
		h := hintTo(now, want, &axes)
		// Turning the case by +angle moves the field in the case by -angle.
		after := rotate(axes.Apply(now), h.Turn, -h.AngleDeg*math.Pi/180)
		if d := r3.Norm(r3.Sub(after, axes.Apply(want))); d > 1e-6 {
			t.Fatalf("now %.2f want %.2f: after the turn it is %.2f off", now, want, d)
		}
		if h.Remark().IsZero() {
			t.Fatal("no turn to name")
		}
	}
}

// The parts of the turn, by hand: x arrow, y right, z down; a field along something is
// brought elsewhere by turning the case the other way.
func TestHintParts(t *testing.T) {
	for _, c := range []struct {
		name      string
		now, want r3.Vec
		pitch     string
		yaw, roll string
		deg       float64
	}{
		// The field is under the case and shall come in along the arrow: the arrow
		// must go down.
		{"arrow down", r3.Vec{Z: 1}, r3.Vec{X: 1}, "down", "", "", 90},
		{"arrow up", r3.Vec{Z: 1}, r3.Vec{X: -1}, "up", "", "", 90},
		// The field is along the arrow and shall come in from the right: the arrow
		// must turn left.
		{"arrow left", r3.Vec{X: 1}, r3.Vec{Y: 1}, "", "left", "", 90},
		{"arrow right", r3.Vec{X: 1}, r3.Vec{Y: -1}, "", "right", "", 90},
		{"right side down", r3.Vec{Z: 1}, r3.Vec{Y: 1}, "", "", "right", 90},
		{"left side down", r3.Vec{Z: 1}, r3.Vec{Y: -1}, "", "", "left", 90},
		{"opposite", r3.Vec{Z: 1}, r3.Vec{Z: -1}, "down", "", "", 180},
	} {
		v := hintTo(c.now, c.want, nil).Remark().Values
		if v["pitch"] != c.pitch || v["yaw"] != c.yaw || v["roll"] != c.roll || v["angle_deg"] != c.deg {
			t.Errorf("%s: %v, want %+v", c.name, v, c)
		}
	}
	for _, bad := range []r3.Vec{{}, {X: math.NaN()}, {Y: math.Inf(1)}} {
		if h := hintTo(bad, r3.Vec{X: 1}, nil); !h.Remark().IsZero() {
			t.Errorf("a field of %v gives %v", bad, h.Remark())
		}
	}
}

// A hand that follows the hints covers the sphere, whatever the offset.
func TestProgressGuides(t *testing.T) {
	for _, offset := range []r3.Vec{{}, {X: 60, Y: -35, Z: 110}} {
		p := Progress{ReferenceUT: 50}
		now := r3.Vec{X: 0.5, Z: math.Sqrt(0.75)}
		steps, last := 0, 0.0
		for p.Covered() < 0.9 && steps < 400 {
			steps++
			want := rotate(now, r3.Vec{X: 0.6, Y: 0.8}, 0.8) // any turn to begin with
			if h, ok := p.Hint(); ok {
				want = h.Direction
			}
			axis := r3.Cross(now, want)
			if r3.Norm(axis) < 1e-6 {
				axis = perpendicular(now)
			}
			full := angle(now, want)
			for k := range 20 {
				p.Add(r3.Add(offset, r3.Scale(50, rotate(now, r3.Unit(axis), full*float64(k+1)/20))))
			}
			now = rotate(now, r3.Unit(axis), full)
			last = p.Covered()
		}
		t.Logf("offset %v: %.0f %% after %d turns of the hand", offset, 100*last, steps)
		if last < 0.9 || steps > 120 {
			t.Errorf("offset %v: %.0f %% after %d turns", offset, 100*last, steps)
		}
	}
}

// A probe that lies still or turns about one axis only has covered little.
func TestProgressIsNotFooled(t *testing.T) {
	var still, flat Progress
	rng := testRNG(3)
	s := plainScene()
	s.tiltDeg = 0
	for _, v := range s.samples(rng) {
		flat.Add(v.B)
		still.Add(r3.Vec{X: 20 + 0.3*rng.NormFloat64(), Y: 0.3 * rng.NormFloat64(), Z: 40})
	}
	still.Add(r3.Vec{X: math.NaN()})
	if c := still.Covered(); c > 0.25 {
		t.Errorf("at rest: %.2f", c)
	}
	if c := flat.Covered(); c > 0.25 {
		t.Errorf("turned about one axis: %.2f", c)
	}
	h, ok := flat.Hint()
	if !ok || h.values()["pitch"] == "" && h.values()["roll"] == "" {
		t.Errorf("after a flat turn: %v %v", h.values(), ok)
	}
	var none Progress
	if _, ok := none.Hint(); ok || none.Covered() != 0 {
		t.Error("a hint before any reading")
	}
}

func TestProgressTellsWhereTheFieldIs(t *testing.T) {
	var p Progress
	if _, ok := p.Now(); ok {
		t.Error("a direction before any reading")
	}
	offset := r3.Vec{X: 20, Y: -5, Z: 8}
	for i := range Cells {
		p.Add(r3.Add(offset, r3.Scale(50, CellDirection(i))))
	}
	want := CellDirection(30)
	p.Add(r3.Add(offset, r3.Scale(50, want)))
	got, ok := p.Now()
	if !ok || angle(got, want) > 0.1 || math.Abs(r3.Norm(got)-1) > 1e-12 {
		t.Errorf("now %v, want %v", got, want)
	}
}

func BenchmarkProgressAdd(b *testing.B) {
	rng := testRNG(1)
	samples := plainScene().along(tumble(20000, 60), rng)
	var p Progress
	i := 0
	for b.Loop() {
		p.Add(samples[i%len(samples)].B)
		i++
	}
}
