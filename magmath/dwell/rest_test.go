package dwell

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
)

func round(v r3.Vec, step float64) r3.Vec {
	if step == 0 {
		return v
	}
	return r3.Scale(step, r3.Vec{X: math.Round(v.X / step), Y: math.Round(v.Y / step), Z: math.Round(v.Z / step)})
}

// A still probe stays at rest for ten minutes, whatever its rate, its noise's
// memory and its step.
func TestRestStill(t *testing.T) {
	minutes := float64(simtest.Trials(2, 10))
	for _, c := range []struct{ rate, phi, sd, step float64 }{
		{5, 0, 0.2, 0}, {5, 0.6, 0.2, 0}, {20, 0.6, 0.6, 0}, {50, 0.8, 0.2, 0}, {50, 0.6, 0.02, 0.3},
		{100, 0.6, 0.2, 0.15}, {200, 0.8, 0.2, 0.15}, {50, 0.6, 0.0, 0.3},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			noise := newAR1(21, c.phi)
			for range simtest.Trials(1, max(1, int(200/c.rate))) {
				noise.restart()
				r := NewRest()
				alarms := 0
				for i := range int(minutes * 60 * c.rate) {
					before := r.State().AtRest
					now := r.Add(float64(i)/c.rate, round(r3.Add(somewhere, r3.Scale(c.sd, noise.next())), c.step))
					if before && !now.AtRest {
						alarms++
					}
				}
				if alarms > 0 || !r.State().AtRest || r.State().SinceTS > 4 {
					t.Errorf("%d false alarms, %+v", alarms, r.State())
				}
			}
		})
	}
}

// walk carries the probe from station to station: 6 s at rest, 2 s in the
// hand, which turns it through the Earth's field.
func walk(ts float64) (b r3.Vec, still bool) {
	leg, at := math.Floor(ts/8), math.Mod(ts, 8)
	if at < 6 {
		return r3.Vec{X: 18 + 3*leg, Y: -4 + 2*math.Mod(leg, 3), Z: 44 - leg}, true
	}
	u := (at - 6) / 2
	return r3.Vec{X: 18 + 3*(leg+u) + 15*math.Sin(2*math.Pi*u), Y: -4 + 12*math.Sin(3*math.Pi*u), Z: 44 - leg - u}, false
}

// Rest is found within two seconds of the probe being set down and left
// within half a second (or three samples) of its being taken up; single
// spikes and slow drift do not disturb it.
func TestRestWalk(t *testing.T) {
	for _, c := range []struct{ rate, phi, sd, step float64 }{
		{5, 0, 0.2, 0}, {20, 0.6, 0.6, 0}, {50, 0.6, 0.2, 0.15}, {200, 0.8, 0.2, 0}, {50, 0, 0.02, 0.3},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			noise := newAR1(22, c.phi)
			r := NewRest()
			delay := max(0.6, 3.5/c.rate)
			rests := 0
			for i := range int(80 * c.rate) {
				ts := float64(i) / c.rate
				b, _ := walk(ts)
				b = r3.Add(b, r3.Scale(c.sd, noise.next()))
				b.Y += 0.02 * ts
				if i%int(5*c.rate) == int(2*c.rate) {
					b.X += 300
				}
				was := r.State().AtRest
				now := r.Add(ts, round(b, c.step))
				if now.AtRest && !was {
					rests++
				}
				at := math.Mod(ts, 8)
				switch {
				case at > 2 && at < 6 && !now.AtRest:
					t.Fatalf("%.2f s: not at rest: %+v", ts, now)
				case at > 6+delay && at < 7.6 && now.AtRest && c.rate > 5:
					t.Fatalf("%.2f s: not moving: %+v", ts, now)
				case now.AtRest && at > 2 && at < 6 && math.Abs(now.SinceTS-8*math.Floor(ts/8)) > 1.3:
					t.Fatalf("%.2f s: at rest since %.2f", ts, now.SinceTS)
				}
			}
			if rests < 10 {
				t.Errorf("%d rests, want 10 or more", rests)
			}
		})
	}
}

func TestRestMark(t *testing.T) {
	r := NewRest()
	noise := newAR1(23, 0.6)
	if !r.State().Moved {
		t.Error("before the first mark there is nothing to move away from")
	}
	for i := range 600 {
		ts := float64(i) / 50
		b, _ := walk(ts)
		now := r.Add(ts, r3.Add(b, r3.Scale(0.2, noise.next())))
		if i == 200 {
			r.Mark()
		}
		if i > 200 && i < 300 && now.Moved {
			t.Fatalf("%.2f s: moved without moving: %+v", ts, now)
		}
		if i > 340 && !now.Moved {
			t.Fatalf("%.2f s: taken away unnoticed: %+v", ts, now)
		}
	}
	if away := r.State().AwayUT; math.Abs(away-math.Sqrt(9+4+1)) > 0.6 {
		t.Errorf("away by %.2f uT, want 3.74", away)
	}
}

func TestRestBadSamples(t *testing.T) {
	r := NewRest()
	for i := range 100 {
		r.Add(float64(i)/50, somewhere)
	}
	was := r.State()
	for _, c := range []struct {
		ts float64
		b  r3.Vec
	}{{math.NaN(), somewhere}, {1, somewhere}, {3, r3.Vec{X: math.NaN()}}, {math.Inf(1), somewhere}} {
		if now := r.Add(c.ts, c.b); now != was {
			t.Errorf("%+v changes %+v to %+v", c, was, now)
		}
	}
	if !was.AtRest {
		t.Error("not at rest")
	}
	if now := r.Add(10, somewhere); now.AtRest {
		t.Error("a gap of eight seconds passes for rest")
	}
}

func TestFloorLearns(t *testing.T) {
	for _, c := range []struct{ rate, phi, sd float64 }{{5, 0, 0.2}, {50, 0.6, 0.2}, {100, 0.8, 0.6}, {200, 0.6, 0.04}} {
		var f floor
		noise := newAR1(24, c.phi)
		for i := range int(32 * c.rate) {
			ts := float64(i) / c.rate
			b, _ := walk(ts)
			f.add(ts, r3.Add(b, r3.Scale(c.sd, noise.next())))
		}
		sd, ok := f.sd()
		if !ok {
			t.Fatal("nothing learned")
		}
		between(t, fmt.Sprintf("floor of %v", c), (sd.X+sd.Y+sd.Z)/3/c.sd, 0.7, 1.3)
	}
	var f floor
	if _, ok := f.sd(); ok {
		t.Error("learned from nothing")
	}
}

func BenchmarkRest50Hz(b *testing.B) {
	s := newAR1(25, 0.6).still(3000, 50, somewhere, 0.2)
	r := NewRest()
	i := 0
	for b.Loop() {
		r.Add(float64(i)/50, s.B[i%3000])
		i++
	}
}

// A clock that stands still, or nearly so, must not make the memory grow.
func TestRestOfAClockThatStandsStill(t *testing.T) {
	for _, creep := range []float64{0, 1e-9} {
		r := NewRest()
		rng := rand.New(rand.NewPCG(8, 0))
		for i := range 2*floorMaximum + 10 {
			r.Add(1+float64(i)*creep, r3.Vec{X: 0.1 * rng.NormFloat64(), Z: 40})
		}
		if len(r.ts) > mostSamples || len(r.b) > mostSamples || len(r.floor.ts) > floorMaximum {
			t.Errorf("creeping %g s: %d samples in the window, %d in the floor's", creep, len(r.ts), len(r.floor.ts))
		}
		// It goes on when the clock does.
		var s State
		for i := range 300 {
			s = r.Add(2+0.02*float64(i), r3.Vec{X: 0.1 * rng.NormFloat64(), Z: 40})
		}
		if !s.AtRest || !s.Learned || s.FloorUT.X > 0.2 {
			t.Errorf("creeping %g s, then at 50 a second: %+v", creep, s)
		}
	}
}

// A probe set down elsewhere without a shake has moved if the field there
// differs by five deviations of a sample; lying where it was for three minutes
// of autocorrelated noise, it has not.
func TestSetDownElsewhereWithoutAShake(t *testing.T) {
	const rate = 50
	for seed := range uint64(simtest.Trials(4, 20)) {
		noise := newAR1(seed, 0.6)
		r := NewRest()
		add := func(i int, at r3.Vec) State {
			return r.Add(float64(i)/rate, r3.Add(at, r3.Scale(0.3, noise.next())))
		}
		at := r3.Vec{X: 18, Y: 3, Z: 46}
		n := 0
		for ; n < 10*rate; n++ {
			add(n, at)
		}
		r.Mark()
		for end := n + 180*rate; n < end; n++ {
			if s := add(n, at); s.Moved {
				t.Fatalf("seed %d: moved after %d s at rest", seed, n/rate)
			}
		}
		at.X -= 1.5
		for end := n + 4*rate; n < end; n++ {
			add(n, at)
		}
		if s := r.State(); !s.Moved || !s.AtRest {
			t.Errorf("seed %d: four seconds after the jump %+v", seed, s)
		}
	}
}

// Whole microteslas are a step, though the first place shows no change at all.
func TestFloorOfWholeMicroteslas(t *testing.T) {
	var f floor
	for i := range 200 {
		b := r3.Vec{X: 18, Y: 3, Z: 46}
		if i > 100 && i%3 == 0 {
			b.X++
		}
		f.add(float64(i)/50, b)
	}
	if sd, ok := f.sd(); !ok || sd.X < 0.5 {
		t.Errorf("floor %v, %v: readings go in steps of 1", sd, ok)
	}
}
