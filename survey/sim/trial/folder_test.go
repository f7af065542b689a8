package trial

import (
	"slices"
	"testing"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
)

func TestFolderHasEveryRun(t *testing.T) {
	w, err := sim.Sandpiper(1)
	if err != nil {
		t.Fatal(err)
	}
	runs := Folder(w, sim.DefaultProbe(), sim.DefaultHand(), FolderOptions{Pulsed: true, CurrentPart: .5, Stations: w.Craft.Stations()[:20], Started: noon})
	var states []string
	for i, r := range runs {
		states = append(states, r.Header.State)
		if r.Header.Run != i+1 || r.Header.CraftSHA256 != w.Craft.SHA256 {
			t.Errorf("header %+v", r.Header)
		}
		if i > 0 && !r.Header.Started.After(runs[i-1].Captures[len(runs[i-1].Captures)-1].Time) {
			t.Errorf("run %d begins before the one before it ends", i+1)
		}
	}
	if want := []string{survey.StateBackground, survey.StateUnpowered, "left thruster", "right thruster"}; !slices.Equal(states, want) {
		t.Fatalf("states %q, want %q", states, want)
	}
	count := func(r *logbook.Run, v logbook.Visit) (n int) {
		for _, c := range r.Captures {
			if c.Visit == v {
				n++
			}
		}
		return n
	}
	if b, u := count(runs[0], logbook.VisitStation), count(runs[1], logbook.VisitRepeat); b != 8 || u != 2 {
		t.Errorf("%d background stations and %d repeats, want 8 and 2", b, u)
	}
	if count(runs[1], logbook.VisitBase) != 3 || runs[2].Header.Amperes() != 9 || !runs[2].Header.Pulsed {
		t.Errorf("%d base returns, %v A", count(runs[1], logbook.VisitBase), runs[2].Header.Amperes())
	}
}
