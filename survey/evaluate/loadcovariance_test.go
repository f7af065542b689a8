package evaluate

import (
	"math"
	"testing"
	"time"

	"quietmount/magmath/room"
	"quietmount/magmath/simtest"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// solvedRuns is the whole evaluation, its joint solution kept.
func solvedRuns(t *testing.T, c *survey.Craft, runs []*logbook.Run) *evaluation {
	t.Helper()
	f, err := Evaluate(t.Context(), c, runs, Options{Date: "2026-06-01"})
	if err != nil {
		t.Fatal(err)
	}
	return f.from
}

// The widened fields of two walked loads, taken for independent, have the
// variance that their sum has; pulsed ones are not widened.
// Source: the variance of a sum.
func TestWalkedLoadsShareTheUnpoweredCaptures(t *testing.T) {
	w := walktest.Sandpiper(t, 2)
	for _, pulsed := range []bool{false, true} {
		e := solvedRuns(t, w.Craft, walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 2, pulsed))
		for s := range e.index.stations {
			if e.index.stations[s].IsBase {
				continue
			}
			_, cov := e.result.Joint([]room.Key{{Station: s, Load: 0}, {Station: s, Load: 1}})
			a, b := e.sharedCovariance(s, 0), e.sharedCovariance(s, 1)
			for i := range 3 {
				sum := cov.At(i, i) + cov.At(3+i, 3+i) + 2*cov.At(i, 3+i)
				if got := cov.At(i, i) + cov.At(3+i, 3+i) + a[i][i] + b[i][i]; math.Abs(got-sum) > 1e-9*sum {
					t.Fatalf("station %d: variance of the sum %.4f, of the widened fields %.4f", s, sum, got)
				}
				if share := a[i][i] / cov.At(i, i); pulsed && share > 1e-9 || !pulsed && share < 0.2 {
					t.Fatalf("pulsed %v, station %d: widened by %.2f", pulsed, s, share)
				}
			}
		}
	}
}

// A load walked at two currents: in proportion, and with one current misread.
func TestLackOfFitNoticesAMisreadCurrent(t *testing.T) {
	w := walktest.Sandpiper(t, 4)
	l := w.Craft.Loads[0]
	low, trials := 0, simtest.Trials(2, 6)
	for seed := range uint64(trials) {
		runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), seed, true)[:3]
		more := trial.Captures(w, sim.DefaultProbe(), sim.DefaultHand(), trial.RunOptions{
			Number: 9, State: l.Name, CurrentA: l.MaxCurrentA / 2, Pulsed: true, Labels: true, Stations: w.Craft.Stations(),
			Rhythm: logbook.Rhythm{Pulses: 4, OnS: 1, OffS: 1, DropS: 0.3}, Started: walktest.Day.Add(2 * time.Hour), ClockS: 7200, Seed: 900 + seed,
		})
		if p := solvedRuns(t, w.Craft, append(runs, more)).lackOfFit(0); p < 0.05 {
			low++
		}
		if seed > 1 {
			continue
		}
		more.Header.CurrentA = new(1.4 * *more.Header.CurrentA)
		if p := solvedRuns(t, w.Craft, append(runs, more)).lackOfFit(0); !(p < misfitP) {
			t.Errorf("seed %d: a current misread by 40 per cent has p = %.3f", seed, p)
		}
	}
	if low > trials/3 {
		t.Errorf("false alarm in %d of %d", low, trials)
	}
	if p := solvedRuns(t, w.Craft, walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 1, true)).lackOfFit(0); p != 1 {
		t.Errorf("one current only: p = %.3f", p)
	}
}
