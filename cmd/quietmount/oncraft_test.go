package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// turnedIn writes the readings of a module that is turned through all
// directions in a field of the given strength, offset from zero by what is
// fixed to it: raw = gain (field + fixed) + own offset, by hand.
func turnedIn(t *testing.T, name string, strengthUT float64, fixed r3.Vec, seed uint64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 5))
	var b strings.Builder
	const n = 1500
	for i := range n {
		z := 1 - 2*(float64(i)+0.5)/n
		phi, rho := 60*math.Pi*float64(i)/n, math.Sqrt(1-z*z)
		u := r3.Vec{X: strengthUT*rho*math.Cos(phi) + fixed.X, Y: strengthUT*rho*math.Sin(phi) + fixed.Y, Z: strengthUT*z + fixed.Z}
		b.WriteString(csvLine(float64(i)/25, [3]float64{
			1.03*u.X + 12 + 0.3*rng.NormFloat64(), 0.98*u.Y - 30 + 0.3*rng.NormFloat64(), 1.01*u.Z + 5 + 0.3*rng.NormFloat64(),
		}))
	}
	write(t, name, b.String())
}

// The finished craft, calibrated: the map's promise for the chosen spot is kept
// by the craft as surveyed, and broken after somebody fits another magnet. The
// fields are a dipole in closed form.
func TestCalibrateOnCraft(t *testing.T) {
	s := newScene(8)
	dir := craftFolder(t, gridCraft)
	strength := r3.Norm(s.earth)
	turnedIn(t, filepath.Join(dir, "loose.csv"), strength, r3.Vec{}, 1)
	if r := call(t, dir, "calibrate", ".", "loose.csv", "--spot", "1"); r.status != 2 {
		t.Errorf("--spot without --on-craft: status %d, %s", r.status, r.stderr)
	}
	if r := call(t, dir, "calibrate", ".", "loose.csv", "--on-craft"); r.status != 1 || !strings.Contains(r.stderr, "no calibration of the loose puck") {
		t.Errorf("no loose module: status %d, %s", r.status, r.stderr)
	}
	must(t, dir, "calibrate", ".", "loose.csv")
	if r := call(t, dir, "calibrate", ".", "loose.csv", "--on-craft"); r.status != 1 || !strings.Contains(r.stderr, "no runs") {
		t.Errorf("no runs: status %d, %s", r.status, r.stderr)
	}
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	if r := call(t, dir, "calibrate", ".", "loose.csv", "--on-craft"); r.status != 1 || !strings.Contains(r.stderr, "the map promises nothing") {
		t.Errorf("no map: status %d, %s", r.status, r.stderr)
	}
	take(t, dir, s.csv(walked(gridMarks()), s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(walked(gridMarks()), 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	if r := call(t, dir, "calibrate", ".", "loose.csv", "--on-craft"); r.status != 2 || !strings.Contains(r.stderr, "no spot is chosen") {
		t.Errorf("no spot: status %d, %s", r.status, r.stderr)
	}
	var ranked struct {
		Spots []struct {
			X float64 `json:"x_mm"`
			Y float64 `json:"y_mm"`
			Z float64 `json:"z_mm"`
		} `json:"spots"`
	}
	ask(t, dir, &ranked, "rank", "--choose", "1")
	at := r3.Vec{X: ranked.Spots[0].X, Y: ranked.Spots[0].Y, Z: ranked.Spots[0].Z}
	for i, tt := range []struct {
		name  string
		added r3.Vec
		kept  bool
	}{
		{"as surveyed", r3.Vec{}, true},
		{"another magnet", r3.Vec{X: 14, Y: -9, Z: 5}, false},
	} {
		file := fmt.Sprintf("on-craft-%d.csv", i)
		turnedIn(t, filepath.Join(dir, file), strength, r3.Add(s.steady(at), tt.added), uint64(2+i))
		var got struct {
			OnCraft  bool `json:"on_craft"`
			Accepted bool `json:"accepted"`
			Promise  struct {
				Predicted [3]float64 `json:"predicted_ut"`
				Found     [3]float64 `json:"found_ut"`
				Kept      bool       `json:"kept"`
				Why       string     `json:"why"`
			} `json:"steady_promise"`
		}
		status := ask(t, dir, &got, "calibrate", ".", file, "--on-craft")
		found := r3.Vec{X: got.Promise.Found[0], Y: got.Promise.Found[1], Z: got.Promise.Found[2]}
		if d := r3.Norm(r3.Sub(found, r3.Add(s.steady(at), tt.added))); d > 0.3 || !got.OnCraft || !got.Accepted {
			t.Errorf("%s: found %v, %.2f uT off; %+v", tt.name, found, d, got)
		}
		if got.Promise.Kept != tt.kept || (status == 0) != tt.kept || !strings.HasPrefix(got.Promise.Why, "the map promised a steady part of ") {
			t.Errorf("%s: status %d, %+v", tt.name, status, got.Promise)
		}
		t.Logf("%s: %s", tt.name, got.Promise.Why)
		// What is stored answers for itself, beside a swing.
		write(t, filepath.Join(dir, "swing.csv"), "heading_deg,compass_deg\n0,1\n45,46\n90,91\n135,135\n180,180\n225,225\n270,270\n315,315\n")
		r := call(t, dir, "swing", ".", "swing.csv", "--on-craft", fmt.Sprintf("%04d", i+2))
		if r.status != 0 || strings.Contains(r.out, "the promise is kept") != tt.kept || !strings.Contains(r.out, "promised a steady part") {
			t.Errorf("%s: swing: status %d\n%s%s", tt.name, r.status, r.out, r.stderr)
		}
	}
	must(t, dir, "verify", ".")
}
