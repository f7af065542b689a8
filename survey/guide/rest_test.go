package guide

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
)

// noisy adds 0.2 uT of noise an axis.
func (h *hand) noisy(b r3.Vec) survey.Sample {
	n := func() float64 { return 0.2 * h.rng.NormFloat64() }
	return survey.Sample{B: r3.Add(b, r3.Vec{X: n(), Y: n(), Z: n()})}
}

// TestRestBeforeTheAnnouncementDoesNotCount lets the probe lie still while
// the checklist is read: the first dwell begins no sooner than the rest that
// is asked for, from the announcement on.
func TestRestBeforeTheAnnouncementDoesNotCount(t *testing.T) {
	cfg := plain(hull(2, 1, false))
	cfg.HandsFree, cfg.SkipChecklist = true, false
	w := mustNew(t, cfg)
	h := newHand(t, 3)
	w.Start()
	still := func(float64) survey.Sample { return h.noisy(room) }
	stream(t, w, 25, 12, still)
	for w.phase == confirming {
		w.Command(Command{Kind: CmdConfirm})
	}
	announced := w.ts
	for w.phase == moving && w.ts < announced+20 {
		s := still(0)
		s.TS = w.ts + 0.04
		w.Sample(s)
	}
	if waited := w.ts - announced; waited < w.rules.HandsOffS || waited > w.rules.HandsOffS+0.5 {
		t.Errorf("the dwell began %.2f s after the announcement, want %g", waited, w.rules.HandsOffS)
	}
}

// TestALiftInAnOffPhaseIsRefused lifts the probe for a second, tilting it,
// and sets it down again: in the same pose or in another of a hand's.
func TestALiftInAnOffPhaseIsRefused(t *testing.T) {
	tilt := func(x, z float64) magmath.Mat3 {
		return magmath.Identity().Add(magmath.Cross(r3.Vec{X: x, Z: z}))
	}
	for _, rate := range []float64{5, 25, 100} {
		for phase := range 4 { // 0: none
			for _, after := range []magmath.Mat3{magmath.Identity(), tilt(0.03, -0.03)} {
				w := asked(t, func(c *Config) { c.State, c.Pulsed = "motor", true })
				h := newHand(t, uint64(rate)+uint64(phase))
				e := stream(t, w, rate, 60, func(ts float64) survey.Sample {
					b := room
					if w.dwell.loadOn {
						b = r3.Add(b, r3.Vec{X: 3, Y: -2, Z: 1})
					}
					into := ts - w.dwell.start - 6*float64(phase-1)
					switch {
					case phase == 0 || w.phase != dwelling || into < 1.4:
					case into < 2.6:
						b = tilt(0.25*math.Sin(3*ts), 0.3).Apply(b)
					default:
						b = after.Apply(b)
					}
					return h.noisy(b)
				})
				name := fmt.Sprintf("%g a second, lifted in off phase %d", rate, phase)
				if phase == 0 && e.Kind != Captured || phase > 0 && (e.Kind != Rejected || e.Code() != "moved" && e.Code() != "changed") {
					t.Errorf("%s: %s %s %v", name, e.Kind, e.Code(), e.Why)
				}
				if phase == 1 && rate > 5 && w.ts > 12 {
					t.Errorf("%s: noticed at %.1f s, want before the load goes on", name, w.ts)
				}
			}
		}
	}
}

// TestHonestPulsesAreTaken counts refusals over many dwells with a hand's
// lag, a rotor that stops anywhere and noise that remembers: hardly any.
func TestHonestPulsesAreTaken(t *testing.T) {
	refused, dwells := 0, walks(120)
	for seed := range uint64(dwells) {
		w := asked(t, func(c *Config) { c.State, c.Pulsed = "motor", true })
		h := newHand(t, seed)
		step := r3.Scale(12*h.rng.Float64(), r3.Unit(r3.Vec{X: h.rng.NormFloat64(), Y: h.rng.NormFloat64(), Z: h.rng.NormFloat64()}))
		on, changeTS, rotor, slow := false, 0.0, r3.Vec{}, r3.Vec{}
		e := stream(t, w, 25, 60, func(ts float64) survey.Sample {
			if w.dwell.loadOn != on && changeTS == 0 {
				changeTS = ts + 0.2 + 0.6*h.rng.Float64()
			}
			if changeTS > 0 && ts >= changeTS {
				on, changeTS = w.dwell.loadOn, 0
				rotor = r3.Scale(0.05*r3.Norm(step)*h.rng.NormFloat64(), r3.Vec{X: 1, Z: 1})
			}
			slow = r3.Add(r3.Scale(0.6, slow), r3.Scale(0.1, r3.Vec{X: h.rng.NormFloat64(), Y: h.rng.NormFloat64(), Z: h.rng.NormFloat64()}))
			b := r3.Add(r3.Add(room, slow), rotor)
			if on {
				b = r3.Add(b, step)
			}
			return h.noisy(b)
		})
		if e.Kind != Captured {
			refused++
			t.Logf("seed %d: %v", seed, e.Why)
		}
	}
	t.Logf("%d of %d honest pulsed dwells refused", refused, dwells)
	if refused*50 > dwells {
		t.Errorf("%d of %d honest pulsed dwells refused, want under 2 %%", refused, dwells)
	}
}
