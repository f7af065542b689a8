package main

import (
	"fmt"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// A script that asks for the capture in the same breath as it moves the
// probe, and probes that jump or linger on the way, still give the field of
// the announced place, never of the one before.
func TestSurveyInAHurry(t *testing.T) {
	for _, moveS := range []float64{0.001, 1.5} {
		for _, noise := range []float64{0, 0.4} {
			bubble(t, fmt.Sprintf("move %g s, noise %g uT", moveS, noise), func(t *testing.T) {
				dir := newFolder(t, smallCraft)
				p := newProbe(t, probeOptions{Field: quiet, Noise: noise, MoveS: moveS, Hz: 50})
				s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--station", "nose", "--station", "tail")...)
				for {
					e, ok := s.next()
					if !ok {
						break
					}
					switch e.Event {
					case "go":
						p.move(place(e))
						s.send("")
					case "captured":
						got := r3.Vec{X: e.BUT[0], Y: e.BUT[1], Z: e.BUT[2]}
						if d := r3.Norm(r3.Sub(got, quiet(s.placeOf(e.Station), false))); d > 6*e.Uncertainty+0.01 {
							t.Errorf("%s: %.2f uT off, stated uncertainty %.3f", e.Station, d, e.Uncertainty)
						}
					}
				}
				if status := s.ended(); status != 0 {
					t.Fatalf("exit status %d\n%s%s", status, s.story(), s.stderr)
				}
				checkDone(t, s, dir, "T", "nose", "tail")
				if n := len(s.of("rejected")); n > 2 && moveS < 1 { // a jump leaves nothing to linger over
					t.Errorf("%d refusals\n%s", n, s.story())
				}
				if n := refusedInARow(s); n > 2 {
					t.Errorf("one place was refused %d times in a row\n%s", n, s.story())
				}
			})
		}
	}
}

// refusedInARow is how often one place was refused before it was captured, at
// most. A processor busy elsewhere lets the probe linger, so that any place may
// rightly be refused; none may be refused for good.
func refusedInARow(s *script) int {
	most, n := 0, 0
	for _, e := range s.seen {
		switch e.Event {
		case "rejected":
			n++
			most = max(most, n)
		case "captured":
			n = 0
		}
	}
	return most
}
