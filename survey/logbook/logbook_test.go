package logbook_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"quietmount/magmath"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
)

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	dir := logbooktest.Folder(t)
	h := logbooktest.Header("left thruster")
	h.CurrentA, h.Pulsed, h.Substitute = new(12.5), true, true
	h.NoseDeg, h.Fitted, h.Confirmed = new(93.5), []string{"hatch shut", "pack A"}, []string{"propellers off"}
	h.Calibration = "0001"
	h.Correction = &survey.Correction{OffsetUT: [3]float64{1, -2, 0.1}, Matrix: magmath.Diagonal(1.01, 0.98, 1)}
	h.Rhythm = new(logbook.DefaultRhythm())
	w := logbooktest.Create(t, dir, h)
	rng := rand.New(rand.NewPCG(1, 2))
	want := &logbook.Run{File: w.File(), Header: w.Header()}
	for i, has := range []survey.Has{0, survey.HasAcc, survey.HasCurrent | survey.HasLoadOn, survey.HasAcc | survey.HasCurrent | survey.HasLoadOn} {
		c := logbooktest.Capture(rng, i+1, 40, has)
		if has&survey.HasLoadOn != 0 {
			c.Samples[3].Has &^= survey.HasLoadOn // a label may be missing now and then
			c.Samples[3].LoadOn = false
			c.Prompts = []logbook.Prompt{{TS: 1.5, On: true}, {TS: 4.5}}
		}
		if err := w.Append(c); err != nil {
			t.Fatal(err)
		}
		want.Captures = append(want.Captures, c)
		want.Lines = append(want.Lines, i+2)
	}
	if err := w.Void(2, "lifted", logbooktest.Start); err != nil {
		t.Fatal(err)
	}
	want.Captures[1].Void = "lifted"
	note := logbook.Note{Kind: logbook.NoteRejected, Station: "B3", Text: "unsteady \"by hand\"\nand so on", Time: logbooktest.Start}
	if err := w.Note(note); err != nil {
		t.Fatal(err)
	}
	end := logbook.Note{Kind: logbook.NoteEnd, Text: "finished", Time: logbooktest.Start}
	if err := w.Note(end); err != nil {
		t.Fatal(err)
	}
	want.Notes, want.Ended = []logbook.Note{note, end}, true
	logbooktest.Close(t, w)
	got := logbooktest.ReadBack(t, w.File())
	sameRun(t, got, want)
	if len(got.Valid()) != 3 {
		t.Errorf("%d captures count, want 3", len(got.Valid()))
	}
}

// sameRun compares runs; times are compared as moments with their offset.
func sameRun(t *testing.T, got, want *logbook.Run) {
	t.Helper()
	text := func(r *logbook.Run) string {
		var b strings.Builder
		h, err := logbook.EncodeHeader(r.Header)
		if err != nil {
			t.Fatal(err)
		}
		b.Write(h)
		for _, c := range r.Captures {
			line, err := logbook.EncodeCapture(c)
			if err != nil {
				t.Fatal(err)
			}
			b.Write(line)
		}
		return b.String()
	}
	if text(got) != text(want) {
		t.Errorf("got\n%s\nwant\n%s", text(got), text(want))
	}
	for i := range want.Captures {
		if i >= len(got.Captures) {
			break
		}
		if !reflect.DeepEqual(got.Captures[i].Samples, want.Captures[i].Samples) {
			t.Errorf("capture %d: the samples differ", want.Captures[i].Number)
		}
		if got.Captures[i].Void != want.Captures[i].Void {
			t.Errorf("capture %d: void %q, want %q", want.Captures[i].Number, got.Captures[i].Void, want.Captures[i].Void)
		}
	}
	if !reflect.DeepEqual(got.Lines, want.Lines) || got.Ended != want.Ended || len(got.Notes) != len(want.Notes) || len(got.Warnings) != 0 {
		t.Errorf("lines %v ended %v, %d notes, warnings %v; want %v %v %d", got.Lines, got.Ended, len(got.Notes), got.Warnings, want.Lines, want.Ended, len(want.Notes))
	}
	for i := range want.Notes {
		g, w := got.Notes[i], want.Notes[i]
		if g.Kind != w.Kind || g.Station != w.Station || g.Text != w.Text || !g.Time.Equal(w.Time) {
			t.Errorf("note %d: %+v, want %+v", i, g, w)
		}
	}
}

func TestRunsAreNumberedAndNamed(t *testing.T) {
	dir := logbooktest.Folder(t)
	for _, tt := range []struct{ state, file string }{
		{survey.StateBackground, "0001-background.jsonl"},
		{"Half throttle / 12 A", "0002-half-throttle-12-a.jsonl"},
		{"Ruder größer", "0003-ruder-größer.jsonl"},
		{"舵", "0004-舵.jsonl"},
		{"../../etc\\x", "0005-etc-x.jsonl"},
		{"***", "0006-run.jsonl"},
		{strings.Repeat("long ", 50), "0007-long-long-long-long-long-long-long-long.jsonl"},
	} {
		w := logbooktest.Create(t, dir, logbooktest.Header(tt.state))
		if got := filepath.Base(w.File()); got != tt.file {
			t.Errorf("state %q: file %q, want %q", tt.state, got, tt.file)
		}
		if err := w.Append(logbooktest.Capture(rand.New(rand.NewPCG(1, 1)), 1, 3, 0)); err != nil {
			t.Error(err)
		}
		logbooktest.Close(t, w)
	}
	runs, err := logbook.LoadRuns(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range runs {
		if r.Header.Run != i+1 {
			t.Errorf("run %d has the number %d", i+1, r.Header.Run)
		}
	}
	if len(runs) != 7 || runs[1].Header.State != "Half throttle / 12 A" {
		t.Errorf("%d runs, the second %q", len(runs), runs[1].Header.State)
	}
}

func TestWriterRefuses(t *testing.T) {
	dir := logbooktest.Folder(t)
	w := logbooktest.Create(t, dir, logbooktest.Header(survey.StateUnpowered))
	logbooktest.Append(t, w, 2)
	rng := rand.New(rand.NewPCG(3, 3))
	before, _ := os.ReadFile(w.File())
	bad := map[string]func(*logbook.Capture){
		"used":    func(c *logbook.Capture) { c.Number = 2 },
		"number":  func(c *logbook.Capture) { c.Number = 0 },
		"station": func(c *logbook.Capture) { c.Station = "" },
		"samples": func(c *logbook.Capture) { c.Samples = nil },
		"NaN":     func(c *logbook.Capture) { c.Samples[1].B.Y = math.NaN() },
		"Inf":     func(c *logbook.Capture) { c.At.Z = math.Inf(1) },
		"acc NaN": func(c *logbook.Capture) { c.Samples[1].Acc.Y, c.Samples[1].Has = math.NaN(), survey.HasAcc },
	}
	for name, spoil := range bad {
		c := logbooktest.Capture(rng, 3, 4, 0)
		spoil(&c)
		if err := w.Append(c); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if err := w.Void(9, "why", logbooktest.Start); err == nil {
		t.Error("a void of an unknown capture was accepted")
	}
	after, _ := os.ReadFile(w.File())
	if string(before) != string(after) {
		t.Error("a refused capture changed the file")
	}
	logbooktest.Close(t, w)
	if err := w.Append(logbooktest.Capture(rng, 3, 4, 0)); err == nil {
		t.Error("a closed run took a capture")
	}
}

func TestLoadRunsTellsOfDoubles(t *testing.T) {
	dir := logbooktest.Folder(t)
	logbooktest.Close(t, logbooktest.Create(t, dir, logbooktest.Header(survey.StateUnpowered)))
	b, err := os.ReadFile(filepath.Join(dir, logbook.RunsFolder, "0001-unpowered.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, b []byte) {
		if err := os.WriteFile(filepath.Join(dir, logbook.RunsFolder, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("0001-copy.jsonl", b)
	if _, err := logbook.LoadRuns(t.Context(), dir); err == nil || !strings.Contains(err.Error(), "0001-copy.jsonl") {
		t.Errorf("two files with number 1: %v", err)
	}
	os.Remove(filepath.Join(dir, logbook.RunsFolder, "0001-copy.jsonl"))
	write("0004-copy.jsonl", b)
	runs, err := logbook.LoadRuns(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(runs) != 2 || runs[1].Header.Run != 4 || len(runs[1].Warnings) != 1 {
		t.Errorf("a renamed copy: %d runs, number %d, warnings %v", len(runs), runs[1].Header.Run, runs[1].Warnings)
	}
	write("0005-empty.jsonl", nil)
	var re *logbook.RunError
	if _, err := logbook.LoadRuns(t.Context(), dir); !errors.Is(err, logbook.ErrNoHeader) || !errors.As(err, &re) || !strings.HasSuffix(re.File, "0005-empty.jsonl") {
		t.Errorf("an empty file: %v", err)
	}
}

func TestSelectRuns(t *testing.T) {
	var runs []*logbook.Run
	for _, n := range []int{1, 2, 3, 5} {
		runs = append(runs, &logbook.Run{Header: logbook.Header{Run: n}})
	}
	for _, tt := range []struct {
		list, want string
		ok         bool
	}{
		{"", "1, 2, 3, 5", true}, {"1,2,5", "1, 2, 5", true}, {" 5 , 1", "1, 5", true}, {"2-5", "2, 3, 5", true}, {"3,3", "3", true},
		{"4", "", false}, {"1,,2", "", false}, {"x", "", false}, {"0", "", false}, {"5-2", "", false}, {"-1", "", false},
	} {
		got, err := logbook.SelectRuns(runs, tt.list)
		if (err == nil) != tt.ok || (tt.ok && logbook.RunNumbers(got) != tt.want) {
			t.Errorf("%q: %s, %v; want %s", tt.list, logbook.RunNumbers(got), err, tt.want)
		}
	}
}

func TestOpenFolder(t *testing.T) {
	dir := logbooktest.Folder(t)
	f, err := logbook.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if f.Craft.Name != "Sandpiper" || len(f.Runs) != 0 {
		t.Errorf("craft %q, %d runs", f.Craft.Name, len(f.Runs))
	}
	w := logbooktest.Create(t, dir, logbooktest.Header(survey.StateBackground))
	logbooktest.Append(t, w, 3)
	f, err = logbook.OpenFolder(t.Context(), dir) // while it is being written
	if err != nil || len(f.Runs) != 1 || len(f.Runs[0].Captures) != 3 {
		t.Errorf("an open run: %v", err)
	}
	if _, err := logbook.OpenFolder(t.Context(), filepath.Join(dir, "nowhere")); err == nil {
		t.Error("a folder that is not there was opened")
	}
}

// BenchmarkLoadRuns reads a folder of four runs over sixty stations, 120
// samples each.
func BenchmarkLoadRuns(b *testing.B) {
	dir := logbooktest.Folder(b)
	rng := rand.New(rand.NewPCG(5, 5))
	for _, state := range []string{survey.StateBackground, survey.StateUnpowered, "left thruster", "rudder"} {
		w := logbooktest.Create(b, dir, logbooktest.Header(state))
		for i := range 60 {
			if err := w.Append(logbooktest.Capture(rng, i+1, 120, survey.HasAcc)); err != nil {
				b.Fatal(err)
			}
		}
		logbooktest.Close(b, w)
	}
	b.ReportAllocs()
	for b.Loop() {
		runs, err := logbook.LoadRuns(b.Context(), dir)
		if err != nil || len(runs) != 4 {
			b.Fatal(len(runs), err)
		}
	}
}
