package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// recording reads a real recording: Laidig, Caruso, Cereatti, Seel, "BROAD - A
// Benchmark for Robust Inertial Orientation Estimation", Data 6(7), 2021, doi
// 10.3390/data6070072, CC BY 4.0, thinned to 28.57 Hz; the rows between two
// times, as the sketch of a board would print them. It is no part of this
// repository.
func recording(t *testing.T, name string, from, to float64) []string {
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
	var lines []string
	for _, row := range rows[1:] {
		at, err := strconv.ParseFloat(row[0], 64)
		if err != nil || at < from || at > to || row[4] == "" {
			continue
		}
		lines = append(lines, fmt.Sprintf("mx=%s my=%s mz=%s ax=%s ay=%s az=%s\r\n", row[4], row[5], row[6], row[1], row[2], row[3]))
	}
	if len(lines) == 0 {
		t.Fatalf("%s has nothing between %g and %g s", name, from, to)
	}
	return lines
}

// player prints recorded lines at their own rate, and tells the rate that the
// machine let it reach.
func player(t *testing.T, lines []string) (p *probe, rateHz func() float64) {
	var mu sync.Mutex
	var first, last time.Time
	n := 0
	p = newProbe(t, probeOptions{
		Field: quiet, Hz: 1 / 0.035,
		Print: func(r3.Vec) string {
			mu.Lock()
			defer mu.Unlock()
			last = time.Now()
			if n == 0 {
				first = last
			}
			n++
			return lines[min(n-1, len(lines)-1)]
		},
	})
	return p, func() float64 {
		mu.Lock()
		defer mu.Unlock()
		return float64(n-1) / last.Sub(first).Seconds()
	}
}

func TestListenToARecording(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		lines := recording(t, "broad_02_undisturbed_slow_rotation_B.csv", 0, 20)
		p, printed := player(t, lines)
		r := within(t, "listen", "--port", p.path, "--for-s", "4", "--json")
		if r.status != 0 && r.status != 3 {
			t.Fatalf("exit status %d\n%s", r.status, r.stderr)
		}
		var a struct {
			Shape     string      `json:"shape"`
			Rate      float64     `json:"rate_hz"`
			Magnitude float64     `json:"magnitude_ut"`
			Noise     *[3]float64 `json:"noise_ut"`
			BadLines  int         `json:"bad_lines"`
		}
		if err := json.Unmarshal([]byte(r.out), &a); err != nil {
			t.Fatal(err)
		}
		// The recording was thinned to 28.57 Hz, which a busy machine may print
		// slower; its field is about 45 uT strong.
		if hz := printed(); a.Rate < 0.85*hz || a.Rate > 1.15*hz {
			t.Errorf("a rate of %.1f Hz, the board printed %.1f", a.Rate, hz)
		}
		if a.Magnitude < 40 || a.Magnitude > 50 || a.BadLines > 1 || a.Noise == nil {
			t.Errorf("%s", r.out)
		}
	})
}

// The magnet of this recording is brought near at about 38 s, while the
// sensor lies still before and after: a dwell meanwhile must not count.
func TestSurveyNoticesTheRecordedMagnet(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		lines := recording(t, "broad_32_attached_magnet_1cm.csv", 27, 60)
		p, _ := player(t, lines)
		dir := newFolder(t, strings.Replace(smallCraft, "latitude_deg = 53.3\nlongitude_deg = -9.1", "latitude_deg = 52.5\nlongitude_deg = 13.3", 1))
		s := start(t, dir, "--port", p.path, "--state", "unpowered", "--dwell-s", "10")
		s.await("go")
		s.send("")
		deadline := time.After(25 * time.Second)
		for {
			select {
			case <-deadline:
				t.Fatalf("nothing was refused\n%s%s", s.story(), s.stderr)
			default:
			}
			e, ok := s.next()
			if !ok {
				t.Fatalf("ended\n%s%s", s.story(), s.stderr)
			}
			if e.Event == "captured" {
				t.Fatalf("a dwell with the magnet coming near counts: %+v\n%s", e, s.story())
			}
			if e.Event == "rejected" {
				t.Logf("why: %s", e.Why)
				return
			}
		}
	})
}
