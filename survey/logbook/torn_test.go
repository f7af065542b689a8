package logbook_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/magmath/simtest"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
)

// TestCutAnywhere cuts a run at every third byte, or at every one when the whole
// evidence is asked for, reads it, resumes it, now and then
// cuts the resumption itself too, resumes again and appends: every
// capture whose line was whole before the cut is there at the end, and so is
// the new one.
func TestCutAnywhere(t *testing.T) {
	dir := logbooktest.Folder(t)
	w := logbooktest.Create(t, dir, logbooktest.Header(survey.StateUnpowered))
	head, _ := os.ReadFile(w.File())
	rng := rand.New(rand.NewPCG(7, 1))
	for i := range 3 {
		if err := w.Append(logbooktest.Capture(rng, i+1, 2, survey.HasLoadOn)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Note(logbook.Note{Text: "naïve ☂", Time: logbooktest.Start}); err != nil {
		t.Fatal(err)
	}
	logbooktest.Close(t, w)
	whole, err := os.ReadFile(w.File())
	if err != nil {
		t.Fatal(err)
	}
	step := simtest.Trials(3, 1)
	for cut := len(head); cut <= len(whole); cut += step {
		cutAndResume(t, w.File(), dir, whole[:cut], cut%17 == 0)
		if t.Failed() {
			t.Fatalf("cut at byte %d of %d", cut, len(whole))
		}
	}
}

func cutAndResume(t *testing.T, path, dir string, kept []byte, deep bool) {
	t.Helper()
	whole := bytes.Count(kept, []byte("\n")) - 1 // captures, the note apart
	captures := min(whole, 3)
	write := func(b []byte) {
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(kept)
	run := logbooktest.ReadBack(t, path)
	torn := kept[len(kept)-1] != '\n'
	if len(run.Captures) < captures || torn != (len(run.Warnings) == 1) {
		t.Errorf("read: %d captures, want %d; warnings %v", len(run.Captures), captures, run.Warnings)
	}
	once := resume(t, dir, 0)
	if !bytes.HasPrefix(once, kept) {
		t.Error("resuming changed what was there")
	}
	if !deep {
		return
	}
	for _, at := range []int{len(kept) + 1, len(kept) + 20, len(kept) + 60, len(once) - 1} {
		if at < len(once) {
			write(once[:at])
			resume(t, dir, captures)
		}
	}
	// Cut in the middle of the first resumption and again in the second.
	write(once[:len(kept)+25])
	twice := resume(t, dir, captures)
	write(twice[:len(kept)+25+31])
	resume(t, dir, captures)
	if n := len(logbooktest.ReadBack(t, path).Captures); n < captures+1 {
		t.Errorf("after two torn resumptions: %d captures, want %d", n, captures+1)
	}
}

// resume resumes run 1, appends a capture and returns the file.
func resume(t *testing.T, dir string, atLeast int) []byte {
	t.Helper()
	w, run, err := logbook.ResumeRun(dir, 1, "", logbooktest.Start)
	if err != nil {
		t.Fatal(err)
	}
	n := w.Next()
	if len(run.Captures) < atLeast || n != len(run.Captures)+1 {
		t.Errorf("resumed with %d captures, next %d; want at least %d", len(run.Captures), n, atLeast)
	}
	b, err := os.ReadFile(w.File())
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Append(logbooktest.Capture(rand.New(rand.NewPCG(9, uint64(n))), n, 3, 0)); err != nil {
		t.Fatal(err)
	}
	logbooktest.Close(t, w)
	again := logbooktest.ReadBack(t, w.File())
	if len(again.Captures) != n || again.Captures[n-1].Number != n {
		t.Errorf("after resuming: %d captures, want %d", len(again.Captures), n)
	}
	return b
}

// TestCutHeader: a file cut within its header holds nothing and says so.
func TestCutHeader(t *testing.T) {
	b, err := logbook.EncodeHeader(logbooktest.Header(survey.StateUnpowered))
	if err != nil {
		t.Fatal(err)
	}
	for cut := range len(b) - 1 {
		_, err := logbook.ReadRun(bytes.NewReader(b[:cut]), "x.jsonl")
		if err == nil || !strings.HasPrefix(err.Error(), "x.jsonl:1: "+logbook.ErrNoHeader.Error()) {
			t.Fatalf("cut at %d: %v", cut, err)
		}
	}
	// A file system may leave zeros where a line was to be.
	run, err := logbook.ReadRun(bytes.NewReader(append(b, make([]byte, 100)...)), "x.jsonl")
	if err != nil || len(run.Warnings) != 1 {
		t.Errorf("zeros at the end: %v", err)
	}
}

// TestDamageElsewhere: any byte of a whole line changed to one that JSON does
// not allow there is an error that names the line.
func TestDamageElsewhere(t *testing.T) {
	dir := logbooktest.Folder(t)
	w := logbooktest.Create(t, dir, logbooktest.Header(survey.StateUnpowered))
	logbooktest.Append(t, w, 3)
	logbooktest.Close(t, w)
	whole, err := os.ReadFile(w.File())
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(whole); i += 5 {
		if whole[i] == '\n' {
			continue
		}
		b := bytes.Clone(whole)
		b[i] = 0
		line := 1 + bytes.Count(b[:i], []byte("\n"))
		_, err := logbook.ReadRun(bytes.NewReader(b), "x.jsonl")
		if err == nil || !strings.HasPrefix(err.Error(), fmt.Sprintf("x.jsonl:%d: ", line)) {
			t.Fatalf("byte %d (line %d) damaged: %v", i, line, err)
		}
	}
}

func TestResumeChoosesTheRun(t *testing.T) {
	dir := logbooktest.Folder(t)
	end := func(w *logbook.RunWriter) {
		if err := w.Note(logbook.Note{Kind: logbook.NoteEnd, Time: logbooktest.Start}); err != nil {
			t.Fatal(err)
		}
	}
	for i, state := range []string{survey.StateUnpowered, survey.StateUnpowered, "rudder", "rudder"} {
		w := logbooktest.Create(t, dir, logbooktest.Header(state))
		logbooktest.Append(t, w, 2)
		if i != 0 {
			end(w)
		}
		logbooktest.Close(t, w)
	}
	for _, tt := range []struct {
		n     int
		state string
		want  string
	}{
		{0, survey.StateUnpowered, "0001-unpowered.jsonl"}, // the one without an end
		{0, "rudder", "0004-rudder.jsonl"},                 // all have one: the latest
		{2, "", "0002-unpowered.jsonl"},
		{0, "left thruster", ""},
		{9, "", ""},
	} {
		w, _, err := logbook.ResumeRun(dir, tt.n, tt.state, logbooktest.Start)
		got := ""
		if err == nil {
			got = filepath.Base(w.File())
			end(w)
			logbooktest.Close(t, w)
		}
		if got != tt.want {
			t.Errorf("resume %d %q: %q, %v; want %q", tt.n, tt.state, got, err, tt.want)
		}
	}
	w := logbooktest.Create(t, dir, logbooktest.Header("rudder"))
	if w.Header().Run != 5 {
		t.Errorf("run %d, want 5", w.Header().Run)
	}
}
