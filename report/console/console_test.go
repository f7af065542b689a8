package console

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"quietmount/magmath/remark"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/walk"
)

// shelf is a logbook in memory.
type shelf struct{ captures []logbook.Capture }

func (s *shelf) Append(c logbook.Capture) error {
	s.captures = append(s.captures, c)
	return nil
}
func (s *shelf) Void(int, string, time.Time) error { return nil }
func (s *shelf) Note(logbook.Note) error           { return nil }

// walked shows a whole simulated run over a few stations on the face and returns
// what was saved.
func walked(t *testing.T, state string, pulsed bool, face func(guide.Event) error) []logbook.Capture {
	t.Helper()
	w, err := sim.Sandpiper(2)
	if err != nil {
		t.Fatal(err)
	}
	marks := w.Craft.Stations()[:5]
	route, err := guide.Plan(w.Craft, guide.PlanOptions{State: state, Stations: marks, Pulsed: pulsed})
	if err != nil {
		t.Fatal(err)
	}
	g, err := guide.New(guide.Config{Craft: w.Craft, State: state, Pulsed: pulsed, Route: &route, Axes: w.Craft.Module.Axes, SkipChecklist: true})
	if err != nil {
		t.Fatal(err)
	}
	b := sim.NewBench(w, sim.DefaultProbe(), sim.DefaultHand(), sim.BenchOptions{Shape: sim.ShapeLabels, Seed: 4})
	op := sim.NewOperator(b, sim.OperatorOptions{State: state, Pulsed: pulsed, CurrentA: 10, Stations: marks})
	kept := &shelf{}
	sum, err := walk.Run(t.Context(), walk.Config{
		Source: sim.NewStream(b, link.NewDecoder(link.DecodeOptions{}), 3600), Commands: op.Commands(), Walk: g, Writer: kept,
		Face:  func(e guide.Event) error { op.Show(e); return face(e) },
		Now:   func() time.Time { return time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC) },
		Words: words.Terminal.Say,
	})
	if err != nil || !sum.Finished || len(kept.captures) < 5 || sum.Captures != len(kept.captures) {
		t.Fatalf("%+v, %d saved, %v", sum, len(kept.captures), err)
	}
	return kept.captures
}

func TestJSONFaceOfAWholeRun(t *testing.T) {
	var out bytes.Buffer
	captures := walked(t, survey.StateUnpowered, false, JSONFace(&out, walk.About{Craft: "invented hull", State: "unpowered", Run: 2, File: "runs/0002-unpowered.jsonl"}))
	counts := map[string]int{}
	for text := range strings.Lines(out.String()) {
		var m map[string]any
		if err := json.Unmarshal([]byte(text), &m); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		event := m["event"].(string)
		counts[event]++
		want := map[string][]string{
			"ready": {"file"}, "go": {"station", "x_mm", "y_mm", "z_mm"},
			"captured": {"station", "capture", "b_ut", "samples", "standard_uncertainty_ut"},
			"warning":  {"why", "code"}, "rejected": {"station", "why", "code"}, "done": {"captures", "file", "code"},
		}[event]
		if want == nil {
			t.Errorf("an event that scripts do not know: %s", text)
		}
		for _, key := range want {
			if _, ok := m[key]; !ok {
				t.Errorf("no %s in %s", key, text)
			}
		}
		if event == "captured" && len(m["b_ut"].([]any)) != 3 {
			t.Errorf("b_ut of %s", text)
		}
	}
	if counts["captured"] != len(captures) || counts["done"] != 1 || counts["ready"] != 1 || counts["go"] != len(captures) {
		t.Errorf("%d saved, events: %v", len(captures), counts)
	}
}

func TestPulsedRunPrintsLoadLines(t *testing.T) {
	var out bytes.Buffer
	captures := walked(t, "motor left", true, JSONFace(&out, walk.About{}))
	if got, want := strings.Count(out.String(), `"event":"load"`), 13*len(captures); got != want {
		t.Errorf("%d load lines for %d captures, want %d", got, len(captures), want)
	}
	if !strings.Contains(out.String(), `"on":true`) || !strings.Contains(out.String(), `"on":false`) {
		t.Error("a load line does not say on or off")
	}
}

func TestTerminalFaceOfAWholeRun(t *testing.T) {
	var plain, live bytes.Buffer
	one := TerminalFace(&plain, walk.About{Craft: "invented hull", State: "unpowered", File: "runs/0001.jsonl"}, TerminalOptions{})
	two := TerminalFace(&live, walk.About{}, TerminalOptions{Live: true, Bell: true})
	captures := walked(t, survey.StateUnpowered, false, func(e guide.Event) error { return errors.Join(one(e), two(e)) })
	text := plain.String()
	if strings.ContainsAny(text, "\a\r\x1b") {
		t.Error("control characters on a plain pipe")
	}
	if got, want := strings.Count(text, "Saved "), len(captures); got != want {
		t.Errorf("%d times saved, %d captures", got, want)
	}
	for _, c := range captures {
		if !strings.Contains(text, banner(c.Station)) {
			t.Errorf("%s was not announced large", c.Station)
		}
	}
	if !strings.Contains(text, "runs/0001.jsonl") {
		t.Error("the file is not named at the end")
	}
	if got := strings.Count(live.String(), "\a"); got != len(captures) {
		t.Errorf("%d tones for %d captures", got, len(captures))
	}
	if !strings.Contains(live.String(), "at rest [") || strings.Contains(live.String(), "\x1b") {
		t.Error("the live line is missing or uses escape sequences")
	}
}

func TestWarningsCarryTheStationTheyAreAbout(t *testing.T) {
	e := guide.Event{Kind: guide.Warning, Station: survey.Station{Name: "B3"}, Why: remark.New("guide.wrong-mark", remark.Values{"fits": "B4"}).At(remark.Place{Station: "B3"})}
	l, ok := lineOf(e, walk.About{})
	if !ok || l.Event != "warning" || l.Station != "B3" || !strings.Contains(l.Why, "redo B3") || l.Code != "wrong-mark" {
		t.Errorf("%+v, %v", l, ok)
	}
}

func TestPoseFaces(t *testing.T) {
	var script, person bytes.Buffer
	j, p := PoseJSONFace(&script, walk.About{File: "f"}), PoseTerminalFace(&person, walk.About{}, TerminalOptions{})
	for _, name := range []string{"045", "down"} {
		e := guide.Event{Kind: guide.Go, Station: survey.Station{Name: name}, Visit: logbook.VisitStation, Progress: guide.Progress{Total: 9}}
		if err := j(e); err != nil {
			t.Fatal(err)
		}
		if err := p(e); err != nil {
			t.Fatal(err)
		}
	}
	if err := j(guide.Event{Kind: guide.Done, Captures: 2, Why: remark.New("guide.finished")}); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(script.String()), "\n")
	var first, second, last map[string]any
	for i, v := range []*map[string]any{&first, &second, &last} {
		if err := json.Unmarshal([]byte(lines[i]), v); err != nil {
			t.Fatal(err)
		}
	}
	if first["event"] != "go" || first["station"] != "045" || first["heading_deg"] != 45.0 || first["x_mm"] != nil {
		t.Errorf("%v", first)
	}
	if second["pose"] != "down" || !strings.Contains(second["words"].(string), "tip the nose") || last["event"] != "done" {
		t.Errorf("%v, %v", second, last)
	}
	if !strings.Contains(person.String(), "0 4 5") || !strings.Contains(person.String(), "nose on mark 045") {
		t.Error(person.String())
	}
}

func TestTerminalFaceShowsTheRest(t *testing.T) {
	var out bytes.Buffer
	face := TerminalFace(&out, walk.About{}, TerminalOptions{HandsFree: true})
	for _, e := range []guide.Event{
		{Kind: guide.Checklist, Items: []remark.Remark{remark.New("guide.propellers-off"), remark.New("guide.tied-down")}},
		{Kind: guide.Rejected, Station: survey.Station{Name: "B2"}, Why: remark.New("guide.unsteady", remark.Values{"within_s": 8.0})},
		{Kind: guide.Switch, On: true},
		{Kind: guide.Warning, Why: remark.New("guide.turned-arrow:backwards").At(remark.Place{Station: "B2"})},
		{Kind: guide.Paused, Why: remark.New("guide.link-lost")},
	} {
		if err := face(e); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"Propellers are off", "2 items to go", "B2: the probe did not come to rest within 8 s", "L O A D   O N", "seems backwards", "the link to the probe is gone"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in\n%s", want, out.String())
		}
	}
	broken := TerminalFace(brokenWriter{}, walk.About{}, TerminalOptions{})
	if broken(guide.Event{Kind: guide.Warning, Why: remark.New("guide.busy")}) == nil {
		t.Error("a write error is not passed on")
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("broken pipe") }
