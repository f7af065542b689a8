package main

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// A probe at a port that is turned all the time: the turn ends by itself when
// enough was shown.
func TestCalibrateFromPort(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		write(t, filepath.Join(dir, "craft.toml"), turnCraft)
		began := time.Now()
		p := newProbe(t, probeOptions{
			Hz: 150, Noise: 0.3, Seed: 4, MoveS: 1e-6,
			Field: func(r3.Vec, bool) r3.Vec {
				// Two angles that never meet again: the whole sphere within some seconds.
				s := time.Since(began).Seconds()
				z := math.Sin(1.1 * s)
				rho, phi := math.Sqrt(1-z*z), 5.3*s
				return r3.Vec{X: 49*rho*math.Cos(phi) + 20, Y: 49*rho*math.Sin(phi) - 40, Z: 49*z + 60}
			},
		})
		r := within(t, "calibrate", dir, "--port", p.path, "--for-s", "30", "--covered-percent", "70", "--json")
		if r.status != 0 {
			t.Fatalf("exit status %d\n%s%s", r.status, r.out, r.stderr)
		}
		var a calibrateAnswer
		if err := json.Unmarshal([]byte(r.out), &a); err != nil {
			t.Fatalf("%v\n%s%s", err, r.out, r.stderr)
		}
		for k, want := range [3]float64{20, -40, 60} {
			if math.Abs(a.Offset[k]-want) > 0.5 {
				t.Errorf("offset %.2f, want 20, -40, 60", a.Offset)
			}
		}
		if !a.Accepted || a.Covered < 0.65 || !strings.Contains(r.stderr, "turn the probe slowly") {
			t.Errorf("accepted %v, covered %.2f: %s\n%s", a.Accepted, a.Covered, a.Why, r.stderr)
		}
		if a.Samples > 20*150 {
			t.Errorf("%d readings: the turn did not end when enough was shown", a.Samples)
		}
	})
}
