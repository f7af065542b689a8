package main

import (
	"bufio"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/logbook"
)

// killed drives a check and lets it stop so long after it acknowledged so many
// captures. What the program does to the folder from then on is taken back, so
// that the folder is as a power cut leaves it. It gives the captures that were
// acknowledged by then, and whether the check came to its answer before.
func killed(t *testing.T, p *probe, hold func(stop stopEvent), captures int, after time.Duration, dir string, args ...string) (acknowledged []int, over bool) {
	t.Helper()
	program := launch(t, append(args, "--port", p.path, "--json", "--dwell-s", "1")...)
	var left map[string][]byte
	var timer *time.Timer
	lines := bufio.NewScanner(program.out)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var e struct {
			stopEvent
			Capture int `json:"capture"`
		}
		_ = json.Unmarshal(lines.Bytes(), &e)
		if e.Event == "captured" {
			acknowledged = append(acknowledged, e.Capture)
		}
		if timer == nil && len(acknowledged) == captures {
			timer = time.AfterFunc(after, func() { left = tree(t, dir); program.kill() })
		}
		switch e.Event {
		case "answer":
			over = true
		case "go":
			hold(e.stopEvent)
			time.Sleep(300 * time.Millisecond)
			_, _ = io.WriteString(program.in, "\n")
		}
	}
	_, _ = program.end()
	if left == nil {
		t.Fatalf("%d captures, %d before the kill were wanted", len(acknowledged), captures)
	}
	rewrite(t, dir, left)
	return acknowledged, over
}

// cutShort kills a check at random moments, takes it up each time, and lets it
// come to its end: every capture that was acknowledged is in the one file.
func cutShort(t *testing.T, seed uint64, p *probe, hold func(stop stopEvent), dir, command string, stops int) stopEvent {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 1))
	args := []string{command, dir}
	acknowledged := map[int]bool{}
	for range 3 {
		numbers, over := killed(t, p, hold, 1, time.Duration(rng.Float64()*1.2*float64(time.Second)), dir, args...)
		if over {
			t.Fatal("it came to its end before it was killed")
		}
		for _, n := range numbers {
			if acknowledged[n] {
				t.Errorf("seed %d: capture %d was given twice", seed, n)
			}
			acknowledged[n] = true
		}
		args = []string{command, dir, "--resume"}
	}
	events, _ := drive(t, p, hold, args...)
	all, err := logbook.LoadSwings(dir)
	if err != nil || len(all) != 1 {
		t.Fatalf("seed %d: %d files, %v", seed, len(all), err)
	}
	have := map[int]bool{}
	for _, c := range all[0].Valid() {
		have[c.Number] = true
	}
	for n := range acknowledged {
		if !have[n] {
			t.Errorf("seed %d: capture %d was acknowledged and is gone", seed, n)
		}
	}
	if len(acknowledged) == 0 || len(have) != stops || !all[0].Ended {
		t.Errorf("seed %d: %d acknowledged before the last walk, %d captures in the end, ended %v", seed, len(acknowledged), len(have), all[0].Ended)
	}
	if r := call(t, dir, "verify"); r.status != 0 {
		t.Errorf("verify: %s", r.out)
	}
	return events[len(events)-1]
}

func TestSwingKilledAndTakenUp(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := ownCraft(t)
		p := newProbe(t, probeOptions{Noise: 0.1, Seed: 13, MoveS: 0.1, Field: func(r3.Vec, bool) r3.Vec { return siteField }})
		last := cutShort(t, 5, p, func(e stopEvent) {
			if e.Heading == nil {
				t.Errorf("no heading: %s", e.Event)
				return
			}
			b := r3.Add(turnZ(siteField, -*e.Heading*math.Pi/180), r3.Vec{X: 1})
			p.setField(func(r3.Vec, bool) r3.Vec { return b })
		}, dir, "swing", 9)
		// B = P/H = 1/18.8 radians.
		var answer struct {
			Coefficients map[string]struct{ Estimate float64 }
			Table        []any
		}
		if err := json.Unmarshal([]byte(last.raw), &answer); err != nil {
			t.Fatal(err)
		}
		if b := answer.Coefficients["b_deg"].Estimate; math.Abs(b-3.05) > 0.5 || len(answer.Table) != 9 {
			t.Errorf("B %.2f, want 3.05, from %d headings", b, len(answer.Table))
		}
	})
}

func TestArrowKilledAndTakenUp(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := ownCraft(t)
		p := newProbe(t, probeOptions{Noise: 0.1, Seed: 14, MoveS: 0.1, Field: func(r3.Vec, bool) r3.Vec { return siteField }})
		n, d := siteField.X, siteField.Z
		poses := map[string]r3.Vec{"north": {X: n, Z: d}, "east": {Y: -n, Z: d}, "south": {X: -n, Z: d}, "west": {Y: n, Z: d}, "down": {X: d, Z: -n}}
		last := cutShort(t, 6, p, func(e stopEvent) {
			b := poses[e.Pose]
			p.setField(func(r3.Vec, bool) r3.Vec { return b })
		}, dir, "arrow", 5)
		if last.OK == nil || !*last.OK || last.ArrowPoints != "nose" {
			t.Error(last.raw)
		}
	})
}

// A walk is taken up as it was begun, or not at all.
func TestResumeOfAFinishedCraftsCheckIsRefused(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := ownCraft(t)
		for _, flags := range [][]string{{"swing", ".", "--resume", "--headings", "16"}, {"arrow", ".", "--resume", "--quick"}, {"swing", ".", "nofile.csv", "--resume"}} {
			if r := call(t, dir, flags...); r.status != 2 {
				t.Errorf("%q: status %d, %s", flags, r.status, r.stderr)
			}
		}
		p := newProbe(t, probeOptions{Noise: 0.1, Seed: 15, Field: func(r3.Vec, bool) r3.Vec { return siteField }})
		for _, command := range []string{"swing", "arrow"} {
			r := within(t, command, dir, "--resume", "--port", p.path)
			if r.status != 1 || !strings.Contains(r.stderr, "start one without resuming") {
				t.Errorf("%s: status %d, %s", command, r.status, r.stderr)
			}
		}
	})
}
