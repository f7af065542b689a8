package live

import (
	"testing"
	"time"

	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/walk"
)

// A run that goes on otherwise than the craft file has it by now says so on the
// page as well.
func TestTheBoardShowsTheRemarksOfARunTakenUp(t *testing.T) {
	s := quietBench(t)
	f, err := survey.OpenFolder(s.bench.Dir())
	if err != nil {
		t.Fatal(err)
	}
	setup := walk.Setup{Folder: f, State: survey.StateUnpowered, Rules: guide.DefaultRules(), Rhythm: guide.DefaultRhythm(), Tool: "test", Now: time.Now()}
	r, err := walk.Begin(setup)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Writer.Close()
	r.Remarks = []string{"an invented remark"}
	b := newBoard(s.bench, setup)
	b.begun(r)
	if n := len(b.now.Log); n != 1 || b.now.Log[0] != (LogLine{"warning", "an invented remark"}) {
		t.Errorf("the log is %+v", b.now.Log)
	}
}
