package evaluate

import (
	"math"
	"math/rand/v2"
	"testing"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// The stated uncertainty of a pulsed difference against the scatter of
// simulated ones.
func TestPlanLoadForetellsTheScatter(t *testing.T) {
	w := walktest.Sandpiper(t, 1)
	p, h := walktest.Still(w)
	p.NoiseUT, p.Lag1 = 0.3, 0.6
	rhythm := logbook.Rhythm{Pulses: 5, OnS: 2, OffS: 2, DropS: 0.5}
	l, amps := w.Craft.Loads[0], 2.0
	var stations []survey.Station
	for range 60 {
		stations = append(stations, w.Craft.Stations()[0])
	}
	quiet := trial.Captures(w, p, h, trial.RunOptions{State: survey.StateUnpowered, Stations: stations, BaseEvery: -1, Started: walktest.Day, Seed: 4})
	noise := NoiseOf(t.Context(), []*logbook.Run{quiet})
	if math.Abs(noise/usualNoiseUT-1) > 0.15 {
		t.Errorf("noise of %.3f uT over a second, expected %.3f", noise, usualNoiseUT)
	}
	run := trial.Captures(w, p, h, trial.RunOptions{State: l.Name, CurrentA: amps, Pulsed: true, Rhythm: rhythm, Labels: true, Stations: stations, BaseEvery: -1, Started: walktest.Day, Seed: 5})
	some, _ := difference(t.Context(), run, 0)
	var sum, sum2, n float64
	for _, r := range some {
		if !r.Off {
			x := r.B.X * l.MaxCurrentA / amps
			sum, sum2, n = sum+x, sum2+x*x, n+1
		}
	}
	scatter := math.Sqrt(sum2/n - sum/n*sum/n)
	plan := PlanLoad(l, &amps, rhythm, 17, 5, noise)
	if n < 55 || math.Abs(plan.UncertaintyUT/scatter-1) > 0.3 { // 60 stations: the scatter itself is known to 9 %
		t.Errorf("foretold %.3f uT, seen %.3f over %.0f stations", plan.UncertaintyUT, scatter, n)
	}
}

// What is said to be needed is enough, and a little less is not.
func TestPlanLoadNeeds(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 0))
	for range 300 {
		l := survey.Load{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 5 + 30*rng.Float64()}
		amps := l.MaxCurrentA * (0.01 + 0.4*rng.Float64())
		r := logbook.Rhythm{Pulses: 4 + rng.IntN(10), OnS: 1 + 3*rng.Float64(), OffS: 3, DropS: 0.5}
		p := PlanLoad(l, &amps, r, 8+25*rng.Float64(), 1+4*rng.Float64(), 0.05+rng.Float64())
		if p.Enough != (p.UncertaintyUT <= p.AllowedUT) {
			t.Fatalf("%+v", p)
		}
		if p.NeededA < l.MaxCurrentA {
			more := p.NeededA * 1.001
			if q := PlanLoad(l, &more, r, p.AllowedUT/allowedShare, 90, p.NoiseUT); !q.Enough {
				t.Errorf("%.3g A said to be enough: %+v", p.NeededA, q)
			}
		}
		r.Pulses = p.NeededPulses
		if q := PlanLoad(l, &amps, r, p.AllowedUT/allowedShare, 90, p.NoiseUT); !q.Enough {
			t.Errorf("%d pulses said to be enough: %+v", p.NeededPulses, q)
		}
	}
	p := PlanLoad(survey.Load{Name: "rudder", Kind: survey.LoadMoving}, nil, logbook.Rhythm{Pulses: 6, OnS: 3, OffS: 3, DropS: 0.5}, 20, 5, 0)
	if !p.Enough || p.Why.Code != "evaluate.plan_enough" || p.Why.Values["current_a"] != 0.0 {
		t.Errorf("a moving part: %+v", p)
	}
}
