package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/magmath/geomag"
	"quietmount/survey/logbook"
)

// turnTruth is the probe of these tests: raw = gain (field) + offset, by hand.
var turnTruth = struct{ gain, offset [3]float64 }{[3]float64{1.03, 0.98, 1.01}, [3]float64{12, -30, 5}}

// turned writes readings of a probe that is turned in the reference field of
// the craft's site: along a spiral over the whole sphere, or level, about the
// plumb line only.
func turned(t *testing.T, name string, line func(ts float64, b [3]float64) string, level bool) {
	t.Helper()
	strength := geomag.WMM2025().At(geomag.Place{LatitudeDeg: 53.3, LongitudeDeg: -9.1, AltitudeM: 2}, 2026.416).F / 1000
	rng := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	const n = 1500
	for i := range n {
		z := 1 - 2*(float64(i)+0.5)/n
		if level {
			z = 0.9
		}
		phi := 60 * math.Pi * float64(i) / n
		rho := math.Sqrt(1 - z*z)
		u := [3]float64{rho * math.Cos(phi), rho * math.Sin(phi), z}
		var raw [3]float64
		for k := range raw {
			raw[k] = turnTruth.gain[k]*strength*u[k] + turnTruth.offset[k] + 0.3*rng.NormFloat64()
		}
		b.WriteString(line(float64(i)/25, raw))
	}
	write(t, name, b.String())
}

const turnCraft = `name = "Sandpiper"
[site]
latitude_deg = 53.30
longitude_deg = -9.10
altitude_m = 2
date = "2026-06-01"
[module]
name = "puck"
mass_g = 24
footprint_mm = [38, 38]
axes = ["+x", "+y", "+z"]
[craft]
outline_mm = [[350, 60], [350, 180], [-350, 180], [-350, -180], [350, -180], [350, -60]]
[grid]
spacing_mm = 60
`

func csvLine(ts float64, b [3]float64) string {
	head := ""
	if ts == 0 {
		head = "t_s,bx,by,bz\n"
	}
	return head + fmt.Sprintf("%.3f,%.4f,%.4f,%.4f\n", ts, b[0], b[1], b[2])
}

func semicolonLine(ts float64, b [3]float64) string {
	return strings.ReplaceAll(strings.ReplaceAll(csvLine(ts, b), ",", ";"), ".", ",")
}

func streamLine(_ float64, b [3]float64) string {
	return fmt.Sprintf("x: %.3f y: %.3f z: %.3f\n", b[0], b[1], b[2])
}

type calibrateAnswer struct {
	Offset     [3]float64    `json:"offset_ut"`
	Standard   [3]float64    `json:"offset_standard_uncertainty_ut"`
	Matrix     [3][3]float64 `json:"matrix"`
	ResidualUT float64       `json:"residual_ut"`
	Covered    float64       `json:"sphere_covered"`
	Parameters int           `json:"parameters"`
	Samples    int           `json:"samples"`
	Rejected   *int          `json:"rejected_samples"`
	Accepted   bool          `json:"accepted"`
	Why        string        `json:"why"`
	ID         string        `json:"id"`
}

func TestCalibrateFromFile(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "craft.toml"), turnCraft)
	turned(t, filepath.Join(dir, "turn.csv"), csvLine, false)
	turned(t, filepath.Join(dir, "comma.csv"), semicolonLine, false)
	for i, file := range []string{"turn.csv", "comma.csv"} {
		r := must(t, dir, "calibrate", ".", file, "--json")
		var a calibrateAnswer
		if err := json.Unmarshal([]byte(r.out), &a); err != nil {
			t.Fatalf("%v\n%s", err, r.out)
		}
		if !a.Accepted || a.Parameters != 9 || a.Samples != 1500 || a.Rejected == nil || a.Why == "" || a.ID != fmt.Sprintf("%04d", i+1) {
			t.Errorf("%s: %+v", file, a)
		}
		if math.Abs(a.ResidualUT-0.3) > 0.03 || a.Covered < 0.95 {
			t.Errorf("%s: residual %.3f, covered %.2f", file, a.ResidualUT, a.Covered)
		}
		for k := range 3 {
			if math.Abs(a.Offset[k]-turnTruth.offset[k]) > 4*a.Standard[k] || a.Standard[k] > 0.05 || math.Abs(a.Matrix[k][k]-1/turnTruth.gain[k]) > 0.004 {
				t.Errorf("%s axis %d: offset %.3f +- %.3f, gain %.4f", file, k, a.Offset[k], a.Standard[k], a.Matrix[k][k])
			}
		}
		stored, err := logbook.LoadCorrection(dir, a.ID)
		if err != nil || math.Abs(stored.OffsetUT[1]-a.Offset[1]) > 1e-6 {
			t.Errorf("stored %+v, %v", stored, err)
		}
	}
	r := must(t, dir, "calibrate", "turn.csv")
	if !strings.Contains(r.out, "survey . --calibration 0003") || !strings.Contains(r.out, "stored as calibration 0003") {
		t.Errorf("how to use it is not said:\n%s", r.out)
	}
	must(t, dir, "verify", ".")
}

func TestCalibrateRefusal(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "craft.toml"), turnCraft)
	turned(t, filepath.Join(dir, "level.csv"), csvLine, true)
	r := call(t, dir, "calibrate", ".", "level.csv")
	if r.status != exitNo || !strings.Contains(r.out, "one axis only") || !strings.Contains(r.out, "nothing was stored") {
		t.Errorf("exit status %d\n%s%s", r.status, r.out, r.stderr)
	}
	if _, err := os.Stat(filepath.Join(dir, logbook.CalibrationFolder)); !os.IsNotExist(err) {
		t.Errorf("something was stored: %v", err)
	}
}

// A recorded stream stands in for the port; the guided turn ends with it, or
// where enough was shown.
func TestCalibrateGuided(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "craft.toml"), turnCraft)
	turned(t, filepath.Join(dir, "stream.txt"), streamLine, false)
	whole := must(t, dir, "calibrate", ".", "--replay", "stream.txt", "--rate-hz", "25", "--json")
	var a calibrateAnswer
	if err := json.Unmarshal([]byte(whole.out), &a); err != nil || a.Samples != 1500 || !a.Accepted || a.ID != "0001" {
		t.Errorf("%v %+v\n%s", err, a, whole.stderr)
	}
	r := must(t, dir, "calibrate", ".", "--replay", "stream.txt", "--rate-hz", "25", "--for-s", "58", "--covered-percent", "60", "--json")
	if err := json.Unmarshal([]byte(r.out), &a); err != nil || a.Samples >= 1450 || a.Samples < 500 {
		t.Errorf("%v: %d readings until 60 per cent were shown", err, a.Samples)
	}
}

func TestCalibrateWrongCalls(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "craft.toml"), turnCraft)
	write(t, filepath.Join(dir, "bad.csv"), "t_s,bx,by,bz\n0,1,2,3\n0.1,1,oops,3\n")
	for _, c := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"bad.csv", "--parameters", "5"}, exitWrongCall, "--parameters"},
		{[]string{"bad.csv", "--scale-from", "moon"}, exitWrongCall, "--scale-from"},
		{[]string{"bad.csv", "--tilt-deg", "-3"}, exitWrongCall, "--tilt-deg"},
		{[]string{"bad.csv", "--prior-gain", "0"}, exitWrongCall, "--prior-gain"},
		{[]string{"bad.csv", "--scale", "-1"}, exitFailed, "bad.csv:3: column by"},
		{[]string{"bad.csv", "--replay", "x"}, exitWrongCall, "either from bad.csv or from a port"},
		{[]string{".", "bad.csv", "more"}, exitWrongCall, "[DIR] [FILE.csv]"},
		{[]string{".", "bad.csv"}, exitFailed, `"oops" is not a number`},
		{[]string{".", "none.csv"}, exitFailed, "none.csv"},
		{[]string{".", "--replay", "bad.csv", "--for-s", "1"}, exitWrongCall, "--for-s"},
		{[]string{".", "--replay", "bad.csv", "--covered-percent", "0"}, exitWrongCall, "--covered-percent"},
	} {
		r := call(t, dir, append([]string{"calibrate"}, c.args...)...)
		if r.status != c.status || !strings.Contains(r.stderr, c.says) {
			t.Errorf("%q: exit status %d, want %d saying %q\n%s", c.args, r.status, c.status, c.says, r.stderr)
		}
	}
}
