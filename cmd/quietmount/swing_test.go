package main

import (
	"bufio"
	"encoding/json"
	"io"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// finishCraft is an invented craft.
const finishCraft = `name = "Dipper"   # invented
[site]
latitude_deg  = 53.30
longitude_deg = -9.10
altitude_m    = 2
date = "2026-06-01"
[module]
name = "puck"
mass_g = 24
range_ut = 800
footprint_mm = [38, 38]
sensor_height_mm = 6
axes = ["+x", "+y", "+z"]
[craft]
outline_mm = [[125, 65], [-125, 65], [-125, -65], [125, -65]]
surface_z_mm = -20
[grid]
spacing_mm = 60
origin_mm = [0, 0]
`

// stopEvent is a line of `arrow --json` or `swing --json`.
type stopEvent struct {
	Event       string   `json:"event"`
	Station     string   `json:"station"`
	Heading     *float64 `json:"heading_deg"`
	Pose        string   `json:"pose"`
	File        string   `json:"file"`
	ArrowPoints string   `json:"arrow_points"`
	LabelFaces  string   `json:"label_faces"`
	OK          *bool    `json:"ok"`
	raw         string
}

// drive runs a check of a finished craft as a script does: at every go it
// holds the craft as asked, then asks for the capture; show is told each line.
func drive(t *testing.T, p *probe, hold func(stop stopEvent), args ...string) (events []stopEvent, status int) {
	t.Helper()
	program := launch(t, append(args, "--port", p.path, "--json", "--dwell-s", "1")...)
	lines := bufio.NewScanner(program.out)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var e stopEvent
		text := lines.Text()
		if err := json.Unmarshal([]byte(text), &e); err != nil && !strings.Contains(text, `"answer"`) {
			t.Errorf("no event: %s", text)
		}
		e.raw = text
		events = append(events, e)
		if e.Event == "go" {
			hold(e)
			time.Sleep(400 * time.Millisecond) // lines from before are still on their way
			_, _ = io.WriteString(program.in, "\n")
		}
	}
	status, _ = program.end()
	if t.Failed() || len(events) == 0 {
		t.Fatalf("%v\n%s", events, program.stderr)
	}
	return events, status
}

// ownCraft is a folder with the invented craft.
func ownCraft(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "dipper")
	write(t, filepath.Join(dir, craftfile.Name), finishCraft)
	return dir
}

// siteField is the reference field of the site by `field`, rounded: 18.8 uT level,
// 45.7 uT down.
var siteField = r3.Vec{X: 18.8, Z: 45.7}

func TestSwingDrivenFromAScript(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		// The craft's magnet gives (2, -1.2) uT level, the module is twisted by 3
		// degrees clockwise: A -3; B = P/H and C = Q/H in radians are +6.1 and -3.7
		// degrees, to first order.
		permanent := r3.Vec{X: 2, Y: -1.2, Z: 1}
		dir := ownCraft(t)
		p := newProbe(t, probeOptions{Noise: 0.1, Seed: 3, MoveS: 0.1, Field: func(r3.Vec, bool) r3.Vec { return siteField }})
		heading := func(deg float64) {
			b := r3.Add(turnZ(siteField, -deg*math.Pi/180), permanent)
			b = turnZ(b, -3*math.Pi/180)
			p.setField(func(r3.Vec, bool) r3.Vec { return b })
		}
		var visited []float64
		events, status := drive(t, p, func(e stopEvent) {
			if e.Heading == nil {
				t.Errorf("no heading: %s", e.raw)
				return
			}
			visited = append(visited, *e.Heading)
			heading(*e.Heading)
		}, "swing", dir, "--headings", "8")
		last := events[len(events)-1]
		var answer struct {
			Event        string
			Coefficients map[string]struct {
				Estimate float64
			}
			Table []struct{ Heading_deg float64 }
			OK    bool
			File  string
			Max   float64 `json:"max_deviation_deg"`
		}
		if err := json.Unmarshal([]byte(last.raw), &answer); err != nil {
			t.Fatal(err)
		}
		if answer.Event != "answer" || len(visited) != 9 || visited[1] != 45 || visited[8] != 0 || len(answer.Table) != 9 {
			t.Errorf("visited %v, last %s", visited, last.raw)
		}
		want := map[string]float64{"a_deg": -3, "b_deg": 6.1, "c_deg": -3.7, "d_deg": 0, "e_deg": 0}
		for k, v := range want {
			if got := answer.Coefficients[k].Estimate; math.Abs(got-v) > 0.5 {
				t.Errorf("%s: %.2f, want %.1f", k, got, v)
			}
		}
		if status != exitNo || answer.OK || answer.Max < 8 {
			t.Errorf("status %d, ok %v with %.1f degrees", status, answer.OK, answer.Max)
		}
		// It is stored, and says the same again.
		r := call(t, dir, "swing", ".", "--limit-deg", "15")
		if r.status != 0 || !strings.Contains(r.out, "within the limit") {
			t.Errorf("status %d\n%s%s", r.status, r.out, r.stderr)
		}
		if r := call(t, dir, "verify"); r.status != 0 {
			t.Errorf("verify: %s", r.out)
		}
	})
}

func TestArrowDrivenFromAScript(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		// The module lies with its arrow to the tail and the label up; its own
		// offset nobody took out.
		dir := ownCraft(t)
		p := newProbe(t, probeOptions{Noise: 0.1, Seed: 4, MoveS: 0.1, Field: func(r3.Vec, bool) r3.Vec { return siteField }})
		n, d := siteField.X, siteField.Z
		poses := map[string]r3.Vec{"north": {X: n, Z: d}, "east": {Y: -n, Z: d}, "south": {X: -n, Z: d}, "west": {Y: n, Z: d}, "down": {X: d, Z: -n}}
		events, status := drive(t, p, func(e stopEvent) {
			b, ok := poses[e.Pose]
			if !ok {
				t.Errorf("no pose of ours: %s", e.raw)
			}
			b = r3.Add(r3.Vec{X: -b.X, Y: -b.Y, Z: b.Z}, r3.Vec{X: 25, Y: -40, Z: 9})
			p.setField(func(r3.Vec, bool) r3.Vec { return b })
		}, "arrow", dir)
		last := events[len(events)-1]
		if last.Event != "answer" || last.ArrowPoints != "tail" || last.LabelFaces != "up" || last.OK == nil || *last.OK || status != exitNo {
			t.Errorf("status %d, %s", status, last.raw)
		}
		all, err := logbook.LoadSwings(dir)
		if err != nil || len(all) != 1 || all[0].Swing.What != logbook.SwingArrow || len(all[0].Captures) != 5 || !all[0].Ended {
			t.Errorf("%+v, %v", all, err)
		}
	})
}
