package calib

import (
	"cmp"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// recorded reads t_s and the magnetometer of a recorded trial of Laidig,
// Caruso, Cereatti, Seel 2021, Data 6(7), doi 10.3390/data6070072 (BROAD,
// CC BY 4.0), kept outside this repository.
func recorded(t testing.TB, name string) []Sample {
	t.Helper()
	dir := os.Getenv("QUIETMOUNT_RECORDED")
	if dir == "" {
		t.Skip("the recorded trials are not here: set QUIETMOUNT_RECORDED to their folder")
	}
	f, err := os.Open(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, h := range rows[0] {
		at[h] = i
	}
	var out []Sample
	for _, row := range rows[1:] {
		var v [4]float64
		ok := true
		for k, col := range [4]string{"t_s", "mx_uT", "my_uT", "mz_uT"} {
			x, err := strconv.ParseFloat(row[at[col]], 64)
			ok = ok && err == nil
			v[k] = x
		}
		if ok {
			out = append(out, Sample{v[0], r3.Vec{X: v[1], Y: v[2], Z: v[3]}})
		}
	}
	return out
}

func within(samples []Sample, from, to float64) []Sample {
	var out []Sample
	for _, s := range samples {
		if s.TS >= from && s.TS <= to {
			out = append(out, s)
		}
	}
	return out
}

const (
	magnetTrial = "broad_32_attached_magnet_1cm.csv"
	quietTrial  = "broad_02_undisturbed_slow_rotation_B.csv"
)

// The figures were found in the trials by linear least squares on a sphere,
// independently of this package.
func TestRecordedMagnet(t *testing.T) {
	r := calibrated(t, within(recorded(t, magnetTrial), 38, 95), DefaultOptions())
	if !r.Accepted {
		t.Fatalf("refused: %v", r.Refusals)
	}
	want := r3.Vec{X: -7.0, Y: -1.0, Z: 57.9}
	if d := r3.Norm(r3.Sub(r.OffsetUT, want)); d > 1 {
		t.Errorf("offset %.2f, want %.2f within 1 uT", r.OffsetUT, want)
	}
	if math.Abs(r.FieldUT-44.6) > 0.5 || math.Abs(r.ResidualUT-0.81) > 0.12 {
		t.Errorf("strength %.2f and residual %.3f uT, want 44.6 and about 0.81", r.FieldUT, r.ResidualUT)
	}
	t.Logf("offset %.2f +- %.2f, strength %.2f, residual %.3f, covered %.2f; %v", r.OffsetUT, r.OffsetStandardUT, r.FieldUT, r.ResidualUT, r.SphereCovered, r.Chosen)
}

func TestRecordedQuiet(t *testing.T) {
	r := calibrated(t, recorded(t, quietTrial), DefaultOptions())
	if !r.Accepted {
		t.Fatalf("refused: %v", r.Refusals)
	}
	want := r3.Vec{X: -0.3, Y: -0.1, Z: 0.4}
	if d := r3.Norm(r3.Sub(r.OffsetUT, want)); d > 1 {
		t.Errorf("offset %.2f, want %.2f within 1 uT", r.OffsetUT, want)
	}
	if math.Abs(r.FieldUT-44.5) > 0.5 || math.Abs(r.ResidualUT-0.81) > 0.12 {
		t.Errorf("strength %.2f and residual %.3f uT, want 44.5 and about 0.81", r.FieldUT, r.ResidualUT)
	}
	t.Logf("offset %.2f +- %.2f, strength %.2f, residual %.3f, covered %.2f; %v", r.OffsetUT, r.OffsetStandardUT, r.FieldUT, r.ResidualUT, r.SphereCovered, r.Chosen)
}

// In the whole trial a magnet comes at about 37 s and goes at about 96 s: its
// distance from the sphere of the span between says so in the data.
func TestRecordedChange(t *testing.T) {
	r := calibrated(t, recorded(t, magnetTrial), DefaultOptions())
	if r.Accepted || len(r.Refusals) == 0 || r.Refusals[0].Code != "calib.changed" {
		t.Fatalf("accepted %v, %v", r.Accepted, r.Refusals)
	}
	t.Logf("changes %.1f: %v", r.Changes, r.Chosen)
	for _, want := range []float64{37, 96} {
		near := false
		for _, at := range r.Changes {
			near = near || math.Abs(at-want) < 2.5
		}
		if !near {
			t.Errorf("no change told near %g s: %.1f", want, r.Changes)
		}
	}
	if len(r.Changes) > 4 {
		t.Errorf("%d changes, two or so were made", len(r.Changes))
	}
	if s := slices.MaxFunc(r.Steady, func(a, b Span) int { return cmp.Compare(a.lengthS(), b.lengthS()) }); math.Abs(s.FromS-96)+math.Abs(s.ToS-165) > 6 && math.Abs(s.FromS-38)+math.Abs(s.ToS-95) > 6 {
		t.Errorf("the longest stretch is %.1f to %.1f s", s.FromS, s.ToS)
	}
}
