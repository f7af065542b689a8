package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

type proveJSON struct {
	Spot     *int `json:"spot"`
	Promised struct {
		Shifting *quantilesJSON `json:"shifting_heading_error_deg"`
	} `json:"promised"`
	Measured *struct {
		Shifting *quantilesJSON `json:"shifting_heading_error_deg"`
	} `json:"measured"`
	P   *float64 `json:"p_value"`
	OK  bool     `json:"ok"`
	Why string   `json:"why"`
}

// proofCSV is a run at the spot, whose place goes with every sample.
func (s *scene) proofCSV(at r3.Vec, amps float64) string {
	var b strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(s.pulsedCSV([]mark{{"spot", at}, {"spot", at}, {"spot", at}}, amps)), "\n") {
		if i == 0 {
			fmt.Fprintf(&b, "%s,x_mm,y_mm,z_mm\n", line)
			continue
		}
		fmt.Fprintf(&b, "%s,%g,%g,%g\n", line, at.X, at.Y, at.Z)
	}
	return b.String()
}

// The promise of a spot against captures there, in closed form: not proved
// without any, proved by true ones, broken by those of a stronger motor.
func TestProve(t *testing.T) {
	s := newScene(6)
	dir := craftFolder(t, gridCraft)
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, s.csv(walked(gridMarks()), s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(walked(gridMarks()), 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	var ranked struct {
		Spots []struct {
			X        float64        `json:"x_mm"`
			Y        float64        `json:"y_mm"`
			Z        float64        `json:"z_mm"`
			Shifting *quantilesJSON `json:"shifting_heading_error_deg"`
		} `json:"spots"`
	}
	ask(t, dir, &ranked, "rank")
	spot := ranked.Spots[0]
	at := r3.Vec{X: spot.X, Y: spot.Y, Z: spot.Z}
	got := askProof(t, dir, 3)
	if got.OK || got.Measured != nil || got.P != nil || !strings.Contains(got.Why, "not proved") {
		t.Errorf("without captures: %+v", got)
	}
	if got.Promised.Shifting == nil || got.Promised.Shifting.Upper95 != spot.Shifting.Upper95 || got.Spot == nil || *got.Spot != 1 {
		t.Errorf("promised %+v, ranked %+v", got.Promised.Shifting, spot.Shifting)
	}
	take(t, dir, s.proofCSV(at, 10), "--state", "main motor", "--current-a", "10", "--pulsed")
	got = askProof(t, dir, 0)
	if !got.OK || got.Measured == nil || got.P == nil || *got.P < 0.05 {
		t.Fatalf("with true captures: %+v", got)
	}
	truth := errorDeg(horizontal(s.shifting(at, 10)), referenceH(t, dir))
	if m := got.Measured.Shifting; m.Upper95 < truth || m.Estimate > truth+1 {
		t.Errorf("measured %+v, true %.2f degrees", *m, truth)
	}
	s.motor = r3.Scale(40, s.motor)
	take(t, dir, s.proofCSV(at, 10), "--state", "main motor", "--current-a", "10", "--pulsed")
	r := callWith(t, dir, "", "prove", "--spot", "1", "--runs", "1,2,3,5", "--json")
	if err := json.Unmarshal([]byte(r.out), &got); err != nil || r.status != 3 || got.OK || *got.P > 0.05 {
		t.Errorf("a motor forty times as strong: exit status %d, %+v, %v", r.status, got, err)
	}
	if r := callWith(t, dir, "", "prove"); r.status == 2 {
		t.Errorf("with proofs at hand the place need not be said: %s", r.stderr)
	}
	for _, args := range [][]string{{"prove", "--spot", "99"}, {"prove", "--spot", "0"}, {"prove", "--at", "1,2"}, {"prove", "--spot", "1", "--at", "0,0,0"}} {
		if r := callWith(t, dir, "", args...); r.status != 2 {
			t.Errorf("%q: exit status %d, %s", args, r.status, r.stderr)
		}
	}
}

func askProof(t *testing.T, dir string, status int) (p proveJSON) {
	t.Helper()
	r := callWith(t, dir, "", "prove", "--spot", "1", "--json")
	if r.status != status {
		t.Fatalf("exit status %d, want %d\n%s\n%s", r.status, status, r.out, r.stderr)
	}
	if err := json.Unmarshal([]byte(r.out), &p); err != nil {
		t.Fatal(err)
	}
	return p
}
