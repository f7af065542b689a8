package conduct

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/report/live/serve"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/walk"
)

// idle is a conductor over a new folder of the invented catamaran. It says the
// keys of its words, with what is put into them.
func idle(t *testing.T) *Conductor {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, craftfile.Name), sim.SandpiperTOML(), 0o600); err != nil {
		t.Fatal(err)
	}
	return New(Options{Dir: dir, Tool: "test", Now: time.Now, Stream: serve.NewStream("ep"),
		Say: func(key string, args ...any) string { return fmt.Sprintln(append([]any{key}, args...)...) }})
}

// A resumed run whose settings differ from the craft file says so on the page.
func TestRemarksOfAResumedRunAreShown(t *testing.T) {
	c := idle(t)
	f, err := logbook.OpenFolder(t.Context(), c.Dir)
	if err != nil {
		t.Fatal(err)
	}
	setup := walk.Setup{Folder: f, State: survey.StateUnpowered, Rules: guide.DefaultRules(), Rhythm: logbook.DefaultRhythm(), Tool: "test", Now: time.Now()}
	r, err := walk.Begin(setup)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Writer.Close()
	r.Remarks = []remark.Remark{remark.New("walk.keeps-stations", remark.Values{"stations": 5}).At(remark.Place{Run: 2})}
	shown := newFace(c, "walk", State{What: "walk"}, nil)
	shown.begun(r, setup)
	if n := len(shown.now.Log); n != 1 || shown.now.Log[0] != (logLine{"warning", words.Page.Say(r.Remarks[0])}) {
		t.Errorf("the log is %+v", shown.now.Log)
	}
}

// One face shows all guided work: what is captured, voided, paused and lost.
func TestAFaceFollowsTheGuide(t *testing.T) {
	f := newFace(idle(t), "pose", State{What: logbook.SwingHeadings}, []remark.Remark{remark.New("guide.clear"), remark.New("guide.tied-down")})
	for _, name := range []string{"000", "090", "000"} { // a swing takes its first mark again at the end
		f.now.Marks = append(f.now.Marks, Mark{Name: name})
	}
	at := func(name string) survey.Station { return survey.Station{Name: name} }
	show := func(e guide.Event) {
		t.Helper()
		if err := f.show(e); err != nil {
			t.Fatal(err)
		}
	}
	want := func(phase, taken string) {
		t.Helper()
		got := ""
		for _, m := range f.now.Marks {
			got += fmt.Sprint(m.Captures)
		}
		if f.now.Phase != phase || got != taken {
			t.Errorf("phase %q with captures %s, want %q with %s", f.now.Phase, got, phase, taken)
		}
	}
	capture := func(name string, n int) {
		t.Helper()
		show(guide.Event{Kind: guide.Captured, Station: at(name), Capture: &logbook.Capture{Station: name, Number: n, BUT: r3.Vec{X: 1}}})
	}
	show(guide.Event{Kind: guide.Checklist, Items: []remark.Remark{remark.New("guide.tied-down")}})
	if f.now.Confirmed != 1 {
		t.Errorf("%d items are confirmed", f.now.Confirmed)
	}
	want("checklist", "000")
	show(guide.Event{Kind: guide.Go, Station: at("000"), Visit: logbook.VisitStation})
	if f.now.Words == "" || f.now.Drawing == nil {
		t.Error("nothing says how to hold the craft")
	}
	capture("000", 1)
	capture("090", 2)
	capture("000", 3)
	want("measuring", "111")
	show(guide.Event{Kind: guide.Voided, Station: at("000"), Capture: &logbook.Capture{Station: "000", Number: 3}})
	want("measuring", "110")
	capture("000", 4)
	want("measuring", "111")
	show(guide.Event{Kind: guide.Paused, Why: remark.New("guide.held")})
	want("held", "111")
	show(guide.Event{Kind: guide.Paused})
	want("lost", "111")
	show(guide.Event{Kind: guide.Resumed}) // the link is back, and the operator's pause holds
	want("held", "111")
	show(guide.Event{Kind: guide.Resumed, Why: remark.New("guide.goes-on")})
	want("measuring", "111")
	show(guide.Event{Kind: guide.Done, Why: remark.New("guide.finished")})
	f.end(nil)
	want("done", "111")
	f.end(walk.ErrDeclined)
	want("done", "111")
	f.end(os.ErrNotExist)
	want("failed", "111")
	if f.now.Why != os.ErrNotExist.Error() || !f.now.Finished {
		t.Errorf("%+v", f.now)
	}
}
