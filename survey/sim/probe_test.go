package sim

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
)

// For an autoregressive noise of n samples the standard error of the lag-1
// correlation is sqrt((1-phi^2)/n), of the variance about
// sqrt(2(1+phi^2)/((1-phi^2)n)) of itself (Bartlett; from memory): limits are
// four of them.
func TestNoiseIsAsAsked(t *testing.T) {
	p := DefaultProbe()
	s := NewSensor(p, survey.Module{}, rand.New(rand.NewPCG(5, 5)))
	const n = 40000
	b := r3.Vec{X: 10, Y: 20, Z: 30}
	var sum, square, lag float64
	last := s.Read(b).X - 10
	for range n {
		x := s.Read(b).X - 10
		sum, square, lag, last = sum+x, square+x*x, lag+x*last, x
	}
	phi := p.Lag1
	if got, se := lag/square, math.Sqrt((1-phi*phi)/n); math.Abs(got-phi) > 4*se {
		t.Errorf("lag-1 correlation %v, want %v within %v", got, phi, 4*se)
	}
	if got, se := square/n/(p.NoiseUT*p.NoiseUT), math.Sqrt(2*(1+phi*phi)/((1-phi*phi)*n)); math.Abs(got-1) > 4*se {
		t.Errorf("variance %v of what was asked, want 1 within %v", got, 4*se)
	}
	if mean, se := sum/n, p.NoiseUT*math.Sqrt((1+phi)/((1-phi)*n)); math.Abs(mean) > 4*se {
		t.Errorf("mean %v, want 0 within %v", mean, 4*se)
	}
}

func TestSensorChain(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	quiet := Probe{RateHz: 50, OffsetUT: r3.Vec{X: 1, Y: 2, Z: 3}, Gain: magmath.Diagonal(1.1, 1, .9)}
	b := r3.Vec{X: 10, Y: 20, Z: 30}
	near(t, "gain and offset", NewSensor(quiet, survey.Module{}, rng).Read(b), r3.Vec{X: 12, Y: 22, Z: 30}, 1e-12)

	axes := magmath.Mat3{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}} // sensor x to the left, sensor y forward
	turned := NewSensor(Probe{}, survey.Module{Axes: &axes}, rng).Read(b)
	near(t, "axes", turned, r3.Vec{X: -20, Y: 10, Z: 30}, 1e-12)
	near(t, "axes and back", axes.Apply(turned), b, 1e-12)

	mounted := Probe{Mounting: yaw(30)}
	near(t, "mounting", NewSensor(mounted, survey.Module{}, rng).Read(r3.Vec{X: 1}), r3.Vec{X: math.Sqrt(3) / 2, Y: .5}, 1e-12)

	coarse := Probe{StepUT: .3, RangeUT: 25}
	got := NewSensor(coarse, survey.Module{}, rng).Read(r3.Vec{X: .4, Y: 26, Z: -40})
	near(t, "steps and full scale", got, r3.Vec{X: .3, Y: 24.9, Z: -24.9}, 1e-9)
	nan := math.NaN()
	on := NewSensor(Probe{RangeUT: 800}, survey.Module{}, rng).Read(r3.Vec{X: nan, Y: nan, Z: nan})
	near(t, "on a source", on, r3.Vec{X: 800, Y: 800, Z: 800}, 0)
}

func TestSampleAndHold(t *testing.T) {
	s := NewSensor(Probe{NoiseUT: 1, HoldEvery: 5}, survey.Module{}, rand.New(rand.NewPCG(7, 7)))
	changes, last := 0, r3.Vec{}
	for range 100 {
		if v := s.Read(r3.Vec{}); v != last {
			changes, last = changes+1, v
		}
	}
	if changes != 20 {
		t.Errorf("%d different readings in 100 lines, want 20", changes)
	}
}

func TestSpikes(t *testing.T) {
	s := NewSensor(Probe{NoiseUT: .1, SpikeRate: .05, SpikeUT: 200}, survey.Module{}, rand.New(rand.NewPCG(8, 8)))
	wild := 0
	for range 4000 {
		if r3.Norm(s.Read(r3.Vec{})) > 5 {
			wild++
		}
	}
	if wild < 160 || wild > 240 { // 200, binomial standard deviation 13.8
		t.Errorf("%d wild readings in 4000, want about 200", wild)
	}
}

// 4000 poses fix a standard deviation to 1.1 per cent (one standard error).
func TestHandScatters(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	h := Hand{TiltDeg: 1.5, YawDeg: 3, PlaceMM: 2}
	var tilt, turn, slip float64
	const n = 4000
	for range n {
		p := h.Place(rng)
		up := p.Turn.Apply(r3.Vec{Z: 1})
		ahead := p.Turn.Apply(r3.Vec{X: 1})
		tilt += up.X * up.X / n
		turn += math.Pow(math.Atan2(ahead.Y, ahead.X), 2) / n
		slip += p.Slip.Y * p.Slip.Y / n
		if math.Abs(p.Turn.Det()-1) > 1e-12 {
			t.Fatal("not a rotation")
		}
	}
	for name, v := range map[string][2]float64{
		"tilt": {math.Sqrt(tilt) * 180 / math.Pi, 1.5}, "yaw": {math.Sqrt(turn) * 180 / math.Pi, 3}, "place": {math.Sqrt(slip), 2},
	} {
		if math.Abs(v[0]/v[1]-1) > .05 {
			t.Errorf("%s scatters by %v, want %v", name, v[0], v[1])
		}
	}
}
