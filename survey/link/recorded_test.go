package link

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// recorded reads a real recording: Laidig, Caruso, Cereatti, Seel, "BROAD - A
// Benchmark for Robust Inertial Orientation Estimation", Data 6(7), 2021,
// doi 10.3390/data6070072, CC BY 4.0, thinned to 28.57 Hz. Columns t_s, ax, ay,
// az (m/s^2), mx, my, mz (uT), ...; not part of this repository.
func recorded(t *testing.T, name string) []survey.Sample {
	t.Helper()
	dir := os.Getenv("QUIETMOUNT_RECORDED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "reference", "recorded")
	}
	f, err := os.Open(filepath.Join(dir, name))
	if err != nil {
		t.Skipf("the real recording is not here; QUIETMOUNT_RECORDED says where: %v", err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []survey.Sample
	for _, row := range rows[1:] {
		var v [7]float64
		empty := false
		for i := range v {
			if row[i] == "" {
				empty = true
				break
			}
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		if !empty {
			out = append(out, survey.Sample{TS: v[0], B: r3.Vec{X: v[4], Y: v[5], Z: v[6]}, Acc: r3.Vec{X: v[1], Y: v[2], Z: v[3]}})
		}
	}
	return out
}

var recordings = []string{"broad_02_undisturbed_slow_rotation_B.csv", "broad_32_attached_magnet_1cm.csv"}

// The whole recordings as text through the replay: every value comes back.
func TestRecordedReplay(t *testing.T) {
	for _, name := range recordings {
		want := recorded(t, name)
		var b strings.Builder
		for _, s := range want {
			fmt.Fprintf(&b, "t_ms:%.0f\tax:%g\tay:%g\taz:%g\tmx:%g\tmy:%g\tmz:%g\r\n", s.TS*1e3, s.Acc.X, s.Acc.Y, s.Acc.Z, s.B.X, s.B.Y, s.B.Z)
		}
		src, err := OpenReplay(strings.NewReader(b.String()), name, ReplayOptions{Decode: DecodeOptions{ReferenceUT: 49}})
		if err != nil {
			t.Fatal(err)
		}
		items, _ := drain(t.Context(), src)
		same(t, samplesOf(items), want, 1e-3)
		g, _ := src.(Monitor).Guess()
		t.Logf("%s: %d samples; %+v", name, len(want), g)
	}
}

// same compares values exactly and times from the first.
func same(t *testing.T, got, want []survey.Sample, tol float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d samples, want %d", len(got), len(want))
	}
	for i := range want {
		if got[i].B != want[i].B {
			t.Fatalf("sample %d: %v, want %v", i, got[i].B, want[i].B)
		}
		if d := (got[i].TS - got[0].TS) - (want[i].TS - want[0].TS); d > tol || d < -tol {
			t.Fatalf("sample %d: time off by %g s", i, d)
		}
	}
}

// Half a minute of a recording at its own rate through a port.
func TestRecordedThroughPort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		want := recorded(t, recordings[0])
		n := 0
		for n < len(want) && want[n].TS < 30 {
			n++
		}
		want = want[:n]
		w := make(wire, 10)
		src := open(t, PortOptions{Name: "board", Open: w.open})
		go func() {
			w <- "9.85,0.4\r\n"
			began := time.Now()
			for _, s := range want {
				time.Sleep(time.Until(began.Add(time.Duration(s.TS * float64(time.Second)))))
				w <- fmt.Sprintf("%g,%g,%g\r\n", s.B.X, s.B.Y, s.B.Z)
			}
		}()
		got := samplesOf(until(t, src, readings(n)))
		same(t, got, want, 0.05)
		h := Assess(got, src.(Monitor).Counters(), HealthOptions{ReferenceUT: 45})
		if h.RateHz < 28 || h.RateHz > 29.2 || len(h.Reasons) != 0 {
			t.Errorf("health %+v", h)
		}
	})
}
