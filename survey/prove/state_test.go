package prove

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/sim/walktest"
)

// What is missing is named before anything is praised: settings-down, the module
// itself, the current, and that all loads were on at once.
func TestWhatIsMissingIsNamed(t *testing.T) {
	w, _, f, at := surveyed(t)
	judged := func(change func(*logbook.Run)) *Proof {
		t.Helper()
		f.Proofs = proofRuns(w, at, 7, w.Craft.Loads)
		for _, r := range f.Proofs {
			change(r)
		}
		p, err := Prove(t.Context(), f, at)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if p := judged(func(*logbook.Run) {}); !p.OK || p.State != OneByOne || !remark.Has(p.Notes, "prove.one_by_one") {
		t.Errorf("each load by itself: %v, %v", p.State, p.Why)
	}
	if p := judged(func(r *logbook.Run) { r.Captures = r.Captures[:2] }); p.OK || p.Failed || p.Why.Code != "prove.settings_missing" {
		t.Errorf("set down twice: %v, %v", p.State, p.Why)
	}
	if p := judged(func(r *logbook.Run) { r.Header.Probe = "another" }); p.OK || p.Failed || p.State != PlaceChecked {
		t.Errorf("by another probe: %v, %v", p.State, p.Why)
	}
	// At a quarter of the current: so says the header, and so flowed.
	if p := judged(func(r *logbook.Run) {
		r.Header.CurrentA = new(*r.Header.CurrentA / 4)
		weaker(r)
	}); p.OK || p.State != Agrees || p.Why.Code != "prove.not_reached" {
		t.Errorf("at a quarter of the current: %v, %v", p.State, p.Why)
	}
}

// weaker takes three quarters of the pulses out of a run: each sample with the load on
// goes that far to the mean of those with it off.
func weaker(r *logbook.Run) {
	for i := range r.Captures {
		s := slices.Clone(r.Captures[i].Samples)
		var off r3.Vec
		n := 0.0
		for _, x := range s {
			if !x.LoadOn {
				off, n = r3.Add(off, x.B), n+1
			}
		}
		off = r3.Scale(1/n, off)
		for k := range s {
			if s[k].LoadOn {
				s[k].B = r3.Add(off, r3.Scale(0.25, r3.Sub(s[k].B, off)))
			}
		}
		r.Captures[i].Samples = s
	}
}

// A proof that failed stays on record, its captures count as readings at the spot, and
// what is proved next needs fresh ones; the files only grow.
func TestAFailedProofStaysOnRecordAndEntersTheMap(t *testing.T) {
	w, runs, f, at := surveyed(t)
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, logbook.RunsFolder), 0o755); err != nil {
		t.Fatal(err)
	}
	stored := func(r *logbook.Run) *logbook.Run {
		t.Helper()
		s, err := logbook.SaveRun(dir, r.Header, r.Captures, nil)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for _, r := range rotated(proofRuns(w, at, 7, w.Craft.Loads), 15) {
		f.Proofs = append(f.Proofs, stored(r))
	}
	p, err := Prove(t.Context(), f, at)
	if err != nil || !p.Failed || p.OK || p.Why.Code != "prove.contradicts" {
		t.Fatalf("a module turned by 15 degrees: %+v, %v", p.Why, err)
	}
	before, err := os.ReadFile(f.Proofs[0].File)
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Keep(dir, walktest.Day.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	after, err := os.ReadFile(f.Proofs[0].File)
	if err != nil || len(after) <= len(before) || string(after[:len(before)]) != string(before) {
		t.Errorf("the file was not appended to: %d bytes, then %d, %v", len(before), len(after), err)
	}
	kept, err := logbook.LoadRuns(t.Context(), dir)
	if err != nil || len(kept) != 2 || kept[0].Failed() == nil {
		t.Fatalf("%d runs kept, %v", len(kept), err)
	}
	for i, r := range kept {
		r.Header.Run = 200 + i // after those of the survey, which have numbers of their own here
	}
	again := evaluatetest.Evaluate(t, w.Craft, append(runs, kept...))
	if len(again.Proofs) != 0 || len(again.FailedProofs) != 2 || len(again.Runs) != len(f.Runs)+2 {
		t.Fatalf("%d proofs, %d failed, %d runs of %d", len(again.Proofs), len(again.FailedProofs), len(again.Runs), len(f.Runs))
	}
	next, err := Prove(t.Context(), again, at)
	if err != nil || next.OK || next.Measured != nil || next.Why.Code != "prove.failed_before" || len(next.Earlier) != 1 || next.Earlier[0].PValue == nil {
		t.Errorf("afterwards: %+v, %v, %v", next.Why, next.Earlier, err)
	}
}
