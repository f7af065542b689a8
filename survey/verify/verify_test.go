package verify

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
)

// soundFolder is a folder with which nothing is wrong: a background and a
// pulsed run.
func soundFolder(t *testing.T) string {
	t.Helper()
	dir := logbooktest.Folder(t)
	craft, err := craftfile.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	b2, ok := craft.Station("B2")
	if !ok {
		t.Fatal("no station B2")
	}
	for _, state := range []string{survey.StateBackground, "left thruster"} {
		h := logbooktest.Header(state)
		h.CraftSHA256 = craft.SHA256
		has := survey.Has(0)
		if state == "left thruster" {
			h.Pulsed, h.CurrentA, h.Rhythm, has = true, new(10.0), quick(), survey.HasLoadOn
		}
		w := logbooktest.Create(t, dir, h)
		rng := rand.New(rand.NewPCG(8, 8))
		for n := range 3 {
			c := logbooktest.Capture(rng, n+1, 100, has) // a pulse every 20 samples
			c.At = b2.At
			if err := w.Append(c); err != nil {
				t.Fatal(err)
			}
		}
		logbooktest.Close(t, w)
	}
	return dir
}

// quick is the rhythm of logbooktest.Capture: ten samples off, ten on.
func quick() *logbook.Rhythm {
	return &logbook.Rhythm{OnS: 0.5, OffS: 0.5, DropS: 0.1, Pulses: 6}
}

// editFile replaces old by new, once, in a file of the folder.
func editFile(t *testing.T, path, old, new string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(b), old) {
		t.Fatalf("%s does not hold %q", path, old)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(b), old, new, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
}

func addFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o644)
	if err == nil {
		_, err = f.WriteString(text)
		f.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestVerifyFindsNothingWrong(t *testing.T) {
	dir := soundFolder(t)
	addFile(t, filepath.Join(dir, "calibration", "0001.json"), `{"offset_ut":[1,2,3],"matrix":[[1,0,0],[0,1,0],[0,0,1]]}`)
	logbooktest.Close(t, mustSwing(t, dir))
	addFile(t, filepath.Join(dir, "notes.txt"), "the builder's own")
	for _, p := range Folder(t.Context(), dir) {
		t.Error(p)
	}
	for _, p := range Folder(t.Context(), logbooktest.Folder(t)) {
		t.Error(p)
	}
	if p := Folder(t.Context(), filepath.Join(dir, "nowhere")); len(p) != 1 || p[0].Severity != SeverityError {
		t.Errorf("no folder: %v", p)
	}
}

func mustSwing(t *testing.T, dir string) *logbook.RunWriter {
	t.Helper()
	w, err := logbook.CreateSwing(dir, logbook.SwingHeader{Header: logbooktest.Header(survey.StateUnpowered), What: logbook.SwingHeadings})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// A swing that was cut short in the middle of a line and taken up again is
// sound: its torn line is worth a warning, and no more.
func TestVerifyTakesATornAndResumedSwing(t *testing.T) {
	dir := soundFolder(t)
	logbooktest.Close(t, mustSwing(t, dir))
	addFile(t, filepath.Join(dir, "swing/0001.jsonl"), `{"kind":"capt`)
	w, _, err := logbook.ResumeSwing(dir, logbook.SwingHeadings, logbooktest.Start)
	if err != nil {
		t.Fatal(err)
	}
	logbooktest.Close(t, w)
	problems := Folder(t.Context(), dir)
	if len(problems) != 1 || problems[0].Severity != SeverityWarning || problems[0].Remark.Place.Line != 2 || problems[0].Remark.Code != "logbook.torn-then-resumed" {
		t.Errorf("got %v, want a warning of the torn line 2 alone", problems)
	}
}

func TestVerifyFinds(t *testing.T) {
	const background, thruster = "runs/0001-background.jsonl", "runs/0002-left-thruster.jsonl"
	tests := []struct {
		name  string
		spoil func(t *testing.T, dir string)
		sev   Severity
		file  string
		line  int
		code  string // of the topic verify where none is named
		holds string // part of the remark
	}{
		{"no craft file", func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, craftfile.Name)) }, SeverityError, craftfile.Name, 0, "unreadable", "no craft.toml"},
		{"misspelt key", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, craftfile.Name), "range_ut", "rangeut")
		}, SeverityError, craftfile.Name, 7, "craft-file", "range_ut"},
		{"damaged line", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, background), `"capture":2`, `"capture";2`)
		}, SeverityError, background, 3, "unreadable", "damaged"},
		{"torn tail", func(t *testing.T, dir string) {
			addFile(t, filepath.Join(dir, background), `{"kind":"cap`)
		}, SeverityWarning, background, 5, "logbook.torn", ""},
		{"void of nothing", func(t *testing.T, dir string) {
			addFile(t, filepath.Join(dir, background), `{"kind":"void","capture":9,"why":"x"}`+"\n")
		}, SeverityError, background, 5, "unreadable", "capture 9"},
		{"newer format", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, background), `"format":1`, `"format":9`)
		}, SeverityError, background, 1, "unreadable", "newer"},
		{"another craft file", func(t *testing.T, dir string) { addFile(t, filepath.Join(dir, craftfile.Name), "# later\n") }, SeverityWarning, thruster, 1, "craft-changed", ""},
		{"unknown station", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"station":"B2"`, `"station":"Q9"`)
		}, SeverityError, thruster, 2, "no-station", "Q9"},
		{"moved station", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"station":"B2"`, `"station":"B3"`)
		}, SeverityWarning, thruster, 2, "moved-station", "by_mm:60"},
		{"unknown state", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"state":"left thruster"`, `"state":"port thruster"`)
		}, SeverityError, thruster, 1, "no-state", "port thruster"},
		{"no background", func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, background)) }, SeverityWarning, "runs", 0, "no-background", ""},
		{"few pulses", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, craftfile.Name), "at_mm = [700", "at_mm = [701") // keeps the folder sound but for the pulses
			shorten(t, dir)
		}, SeverityWarning, "runs/0003-left-thruster.jsonl", 2, "few-pulses", "pulses:2"},
		{"untimed pulses", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, background), `"pulsed":false`, `"pulsed":true`)
		}, SeverityError, background, 2, "untimed", ""},
		{"too much current", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"current_a":10`, `"current_a":30`)
		}, SeverityWarning, thruster, 1, "current-above-limit", "current_a:30 max_current_a:18"},
		{"unknown current", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"current_a":10,`, ``)
		}, SeverityWarning, thruster, 1, "current-unknown", "left thruster"},
		{"no axes", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"axes":`, `"was_axes":`)
		}, SeverityWarning, thruster, 1, "no-axes", ""},
		{"flat axes", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"axes":[[0,-1,0],`, `"axes":[[1,0,0],`)
		}, SeverityError, thruster, 1, "bad-axes", ""},
		{"saturated", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, craftfile.Name), "range_ut = 800", "range_ut = 40")
		}, SeverityWarning, background, 2, "logbook.at-full-scale", "load_is: of:100 range_ut:40 samples:100"},
		{"time backwards", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, background), `"samples":[[60,`, `"samples":[[61,`)
		}, SeverityError, background, 2, "time-backwards", "sample:2"},
		{"no samples", func(t *testing.T, dir string) {
			addFile(t, filepath.Join(dir, background), strings.Replace(logbooktest.CaptureLine, `"capture":1`, `"capture":7`, 1))
			editFile(t, filepath.Join(dir, background), `[[0,17,-3,44],[0.05,17.5,-3.25,44]]`, `[]`)
		}, SeverityError, background, 5, "no-samples", ""},
		{"clock set back", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, background), `"time":"2026-06-01T09:32`, `"time":"2026-06-01T09:02`)
		}, SeverityWarning, background, 3, "time-order", "before:1"},
		{"numbers", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, background), `"capture":1`, `"capture":11`)
		}, SeverityWarning, background, 3, "number-order", "before:11"},
		{"doubled number", func(t *testing.T, dir string) {
			addFile(t, filepath.Join(dir, "runs/0002-copy.jsonl"), logbooktest.HeaderLine)
		}, SeverityError, thruster, 0, "number-twice", "other:0002-copy.jsonl"},
		{"header's number", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"run":2`, `"run":3`)
		}, SeverityWarning, thruster, 1, "logbook.other-number", "header:3 name:2"},
		{"stray", func(t *testing.T, dir string) { addFile(t, filepath.Join(dir, "runs/walk.csv"), "x") }, SeverityWarning, "runs/walk.csv", 0, "stray", ""},
		{"stray run", func(t *testing.T, dir string) { addFile(t, filepath.Join(dir, "0003-x.jsonl"), "x") }, SeverityWarning, "0003-x.jsonl", 0, "stray-run", "folder:runs"},
		{"calibration", func(t *testing.T, dir string) {
			addFile(t, filepath.Join(dir, "calibration/0001.json"), "{\n\"offset_ut\":[1,2,,3]}")
		}, SeverityError, "calibration/0001.json", 2, "damaged", ""},
		{"swing", func(t *testing.T, dir string) {
			logbooktest.Close(t, mustSwing(t, dir))
			addFile(t, filepath.Join(dir, "swing/0001.jsonl"), "{\n{}\n")
		}, SeverityError, "swing/0001.jsonl", 2, "unreadable", "damaged line"},
		{"swing of another kind", func(t *testing.T, dir string) {
			addFile(t, filepath.Join(dir, "swing/0001.jsonl"), logbooktest.HeaderLine)
		}, SeverityError, "swing/0001.jsonl", 1, "unreadable", "neither a swing nor an arrow check"},
		{"stray in the swing folder", func(t *testing.T, dir string) {
			addFile(t, filepath.Join(dir, "swing/copy.jsonl"), logbooktest.HeaderLine)
		}, SeverityWarning, "swing/copy.jsonl", 0, "stray-swing", ""},
		{"lost calibration", func(t *testing.T, dir string) {
			editFile(t, filepath.Join(dir, thruster), `"port"`, `"calibration":"0007","port"`)
		}, SeverityWarning, thruster, 1, "lost-calibration", "0007"},
		{"turned", func(t *testing.T, dir string) {
			for _, nose := range []string{"350", "80"} {
				addFile(t, filepath.Join(dir, "runs/0003-"+nose+".jsonl"), strings.Replace(logbooktest.HeaderLine, `"run":1`, `"run":3,"nose_deg":`+nose, 1))
				os.Rename(filepath.Join(dir, "runs/0003-80.jsonl"), filepath.Join(dir, "runs/0004-80.jsonl"))
			}
		}, SeverityWarning, "runs/0004-80.jsonl", 1, "nose-turned", "nose_deg:80"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := soundFolder(t)
			tt.spoil(t, dir)
			problems := Folder(t.Context(), dir)
			found := false
			for _, p := range problems {
				found = found || p.Severity == tt.sev && p.Remark.Place.File == filepath.Join(dir, filepath.FromSlash(tt.file)) && p.Remark.Place.Line == tt.line &&
					(p.Remark.Code == tt.code || p.Remark.Code == "verify."+tt.code) && strings.Contains(fmt.Sprint(p.Remark), tt.holds)
			}
			if !found {
				t.Errorf("not found among %v", problems)
			}
		})
	}
}

// shorten adds a third run with two pulses by its rhythm.
func shorten(t *testing.T, dir string) {
	t.Helper()
	h := logbooktest.Header("left thruster")
	h.Pulsed, h.Rhythm = true, quick()
	w := logbooktest.Create(t, dir, h)
	c := logbooktest.Capture(rand.New(rand.NewPCG(8, 8)), 1, 60, 0)
	if err := w.Append(c); err != nil {
		t.Fatal(err)
	}
	logbooktest.Close(t, w)
}

// What the check of a folder says of pulses is what the evaluation does with
// them: it names exactly the captures that are left out.
func TestVerifyNamesThePulsesThatTheEvaluationLeavesOut(t *testing.T) {
	none := func(*logbook.Header, []logbook.Capture) {}
	each := func(f func(c *logbook.Capture)) func(*logbook.Header, []logbook.Capture) {
		return func(_ *logbook.Header, all []logbook.Capture) {
			for i := range all {
				f(&all[i])
			}
		}
	}
	for _, tt := range []struct {
		name string
		has  survey.Has
		edit func(h *logbook.Header, all []logbook.Capture)
		want map[int]string // of each capture that is named; captures have 1 to 6 pulses
	}{
		{"labels", survey.HasLoadOn, none, map[int]string{}}, // one is enough
		{"begins on", survey.HasLoadOn, each(func(c *logbook.Capture) { c.Samples = c.Samples[10:] }),
			map[int]string{1: "few-pulses"}}, // no off before the first
		{"nothing", 0, none, map[int]string{1: "untimed", 2: "untimed", 3: "untimed", 4: "untimed", 5: "untimed", 6: "untimed"}},
		{"rhythm", 0, func(h *logbook.Header, _ []logbook.Capture) { h.Rhythm = quick() },
			map[int]string{1: "few-pulses", 2: "few-pulses", 3: "few-pulses"}}, // as many as the samples hold, whatever the header says
		{"current", 0, each(func(c *logbook.Capture) {
			for i := range c.Samples {
				s := &c.Samples[i]
				s.Has, s.CurrentA = s.Has|survey.HasCurrent, 0.1
				if i%20 >= 10 {
					s.CurrentA = -9
				}
			}
		}), map[int]string{}},
		{"steady current", 0, each(func(c *logbook.Capture) {
			for i := range c.Samples {
				c.Samples[i].Has, c.Samples[i].CurrentA = c.Samples[i].Has|survey.HasCurrent, 9
			}
		}), map[int]string{1: "untimed", 2: "untimed", 3: "untimed", 4: "untimed", 5: "untimed", 6: "untimed"}},
		{"prompts in one", 0, func(_ *logbook.Header, all []logbook.Capture) {
			c := &all[4]
			for k := range 5 {
				at := c.Samples[0].TS + float64(k)
				c.Prompts = append(c.Prompts, logbook.Prompt{TS: at + 0.2, On: true}, logbook.Prompt{TS: at + 0.7})
			}
		}, map[int]string{1: "untimed", 2: "untimed", 3: "untimed", 4: "untimed", 6: "untimed"}},
		{"base at rest", survey.HasLoadOn, func(_ *logbook.Header, all []logbook.Capture) {
			for i := range all[0].Samples {
				all[0].Samples[i].LoadOn = false
			}
			all[0].Visit = logbook.VisitBase
		}, map[int]string{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := logbooktest.Folder(t)
			h := logbooktest.Header("left thruster")
			h.Pulsed, h.CurrentA, h.Rhythm = true, new(10.0), &logbook.Rhythm{DropS: quick().DropS}
			var all []logbook.Capture
			rng := rand.New(rand.NewPCG(8, 8))
			for n := 1; n <= 6; n++ {
				all = append(all, logbooktest.Capture(rng, n, 20*n+10, tt.has)) // half a second off at either end
			}
			tt.edit(&h, all)
			if _, err := logbook.SaveRun(dir, h, all, nil); err != nil {
				t.Fatal(err)
			}
			named := map[int]string{}
			for _, p := range Folder(t.Context(), dir) {
				if name := p.Remark.Name(); name == "few-pulses" || name == "untimed" {
					named[p.Remark.Place.Capture] = name
				}
			}
			if !maps.Equal(named, tt.want) {
				t.Errorf("named %v, want %v", named, tt.want)
			}
			for n, why := range leftOut(t, dir) {
				if named[n] == "" {
					t.Errorf("capture %d is left out and not named: %v", n, why)
				}
				delete(named, n)
			}
			if len(named) > 0 {
				t.Errorf("captures %v are named and not left out", named)
			}
		})
	}
}

// leftOut returns what the evaluation says of the captures that it leaves out
// of the only run of a folder.
func leftOut(t *testing.T, dir string) map[int]remark.Remark {
	t.Helper()
	f, err := logbook.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[int]remark.Remark{}
	found, err := evaluate.Evaluate(t.Context(), f.Craft, f.Runs, evaluate.Options{})
	if errors.Is(err, evaluate.ErrNothing) { // the whole run is left out
		for _, c := range f.Runs[0].Captures {
			out[c.Number] = remark.New("evaluate.nothing")
		}
		return out
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range found.Notes {
		switch n.Code {
		case "evaluate.capture_left_out":
			out[n.Place.Capture] = n
		case "evaluate.run_untimed":
			for _, c := range f.Runs[0].Captures {
				out[c.Number] = n
			}
		}
	}
	return out
}

// BenchmarkVerify shows that the time to verify a folder grows with the number
// of captures and no faster. Every second capture is voided at the end of the
// run, and every tenth stands at a station that only the run knows.
func BenchmarkVerify(b *testing.B) {
	for _, n := range []int{12500, 50000, 200000} {
		b.Run(fmt.Sprintf("%d captures", n), func(b *testing.B) {
			dir := logbooktest.Folder(b)
			h := logbooktest.Header(survey.StateUnpowered)
			for i := range n / 10 {
				h.Extra = append(h.Extra, survey.Station{Name: fmt.Sprintf("E%d", i)})
			}
			rng := rand.New(rand.NewPCG(8, 8))
			var captures []logbook.Capture
			var voids []byte
			for i := range n {
				c := logbooktest.Capture(rng, i+1, 2, 0)
				if i%10 == 0 {
					c.Station, c.At = h.Extra[i/10].Name, h.Extra[i/10].At
				}
				captures = append(captures, c)
				if i%2 == 0 {
					voids = fmt.Appendf(voids, "{\"kind\":\"void\",\"capture\":%d,\"why\":\"invented\"}\n", i+1)
				}
			}
			run, err := logbook.SaveRun(dir, h, captures, nil)
			if err != nil {
				b.Fatal(err)
			}
			f, err := os.OpenFile(run.File, os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := f.Write(voids); err != nil {
				b.Fatal(err)
			}
			if err := f.Close(); err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				for _, p := range Folder(b.Context(), dir) {
					if p.Severity == SeverityError {
						b.Fatal(p)
					}
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(n), "us/capture")
		})
	}
}
