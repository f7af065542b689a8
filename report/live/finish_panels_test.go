package live

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/report/live/serve"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// The example's own numbers: the header of its files, and the answers in its
// record folder, which the commands wrote.
func TestPanelsTellWhatTheExampleHolds(t *testing.T) {
	s := example(t)
	room := data[roomView](t, s, "room")
	if room.Room == nil || !room.Room.OK || room.Room.Captures != 11 || len(room.Drift) != 4 || room.Drift[0].ReturnUT == nil || len(room.Rooms) != 1 {
		t.Errorf("room %+v", room)
	}
	runs := data[runsView](t, s, "runs?run=3")
	if len(runs.Runs) != 6 || runs.Open == nil || runs.Open.State != "left thruster" || !runs.Open.Pulsed || !runs.Runs[4].Proof ||
		len(runs.Open.Caught) != 18 || !runs.Open.Finished || *runs.Open.CurrentA != 9 {
		t.Errorf("runs %+v", runs)
	}
	prove := data[proveView](t, s, "prove")
	if !prove.Chosen || prove.Answer == nil || prove.Answer.Measured == nil || len(prove.Loads) != 2 || prove.Loads[0].Measured == nil {
		t.Errorf("prove %+v", prove)
	}
	arrow := data[arrowView](t, s, "arrow")
	if arrow.Answer == nil || !arrow.Answer.OK || arrow.Answer.ArrowPoints != "nose" || arrow.File != "swing/0001.jsonl" || arrow.Early || arrow.Found == "" {
		t.Errorf("arrow %+v", arrow)
	}
	swung := data[swingView](t, s, "swing")
	var want struct {
		Max float64 `json:"max_deviation_deg"`
	}
	readJSON(t, filepath.Join(s.bench.Dir, "record", "swing.json"), &want)
	if swung.Number != 2 || swung.Answer == nil || len(swung.Answer.Table) != 9 || *swung.Answer.MaxDeviationDeg != want.Max {
		t.Errorf("swing %+v, want at most %g as the record has it", swung.Answer, want.Max)
	}
	stored := data[calibrateView](t, s, "calibrate")
	if len(stored.Stored) != 2 || stored.Stored[0].ID != "0002" || !stored.Stored[0].OnCraft || stored.Stored[1].OnCraft || stored.Stored[0].Why != "" || len(stored.Halves[0].Cells) != 42 || len(stored.Halves[1].Cells) != 42 {
		t.Errorf("calibrate %+v", stored.Stored)
	}
}

// The limit and the exact form shape how a stored check is read, on the panel
// and on the card; a limit that is none is told at its field and passed over.
func TestLimitAndExactFormOfStoredChecks(t *testing.T) {
	s := example(t)
	usual := data[swingView](t, s, "swing")
	strict := data[swingView](t, s, "swing?limit_deg=0,05&exact=on")
	if !usual.Answer.OK || strict.Answer.OK || strict.Answer.LimitDeg != 0.05 || !strict.Exact {
		t.Errorf("within %g: %v; within %g: %v", usual.Answer.LimitDeg, usual.Answer.OK, strict.Answer.LimitDeg, strict.Answer.OK)
	}
	if fmt.Sprint(usual.Answer.Table) == fmt.Sprint(strict.Answer.Table) {
		t.Error("the exact form fits the very same values")
	}
	plain, changed := request(t, s, usual.Card, nil), request(t, s, strict.Card, nil)
	if plain.Code != http.StatusOK || changed.Code != http.StatusOK || plain.Body.String() == changed.Body.String() {
		t.Errorf("the cards: %d, %d", plain.Code, changed.Code)
	}
	if v := data[arrowView](t, s, "arrow?limit_deg=0.01"); v.Answer.OK || v.Limit.CraftDeg != 5 {
		t.Errorf("an arrow right within 0.01 degrees: %+v", v.Limit)
	}
	for _, panel := range []string{"arrow", "swing"} {
		w := request(t, s, "/panel/"+panel+"?limit_deg=much", nil).Body.String()
		if !strings.Contains(w, `value="much"`) || !strings.Contains(w, "a number from 0.01 to 180") || !strings.Contains(w, "verdict yes") {
			t.Errorf("%s: a limit that is none:\n%s", panel, w)
		}
	}
}

func readJSON(t testing.TB, name string, v any) {
	t.Helper()
	data, err := os.ReadFile(name)
	if err == nil {
		err = json.Unmarshal(data, v)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestRecordIsPreviewedAndHandedOut(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole record takes its time: left out with -short")
	}
	s := benchAt(t, surveyed(t))
	v := data[recordView](t, s, "record")
	if !v.Ready || len(v.Weak) == 0 || len(v.Files) < 10 || v.Written == "" || len(v.Problems) > 0 {
		t.Errorf("record %+v", v)
	}
	for key, want := range map[string][3]string{ // type, name, how it begins
		"sheet": {"text/html", "", "<!doctype html>"}, "html": {"text/html", "sheet.html", "<!doctype html>"},
		"pdf": {"application/pdf", "sheet.pdf", "%PDF"}, "bundle": {"application/zip", "record-bundle.zip", "PK"},
	} {
		w := request(t, s, "/file/record/"+key, nil)
		body := strings.ToLower(w.Body.String()[:min(200, w.Body.Len())])
		if !strings.HasPrefix(w.Header().Get("Content-Type"), want[0]) || !strings.Contains(w.Header().Get("Content-Disposition"), want[1]) ||
			!strings.HasPrefix(body, strings.ToLower(want[2])) {
			t.Errorf("%s: %v %.60q", key, w.Header(), body)
		}
	}
	sheet := filepath.Join(s.bench.Dir, "record", "sheet.html")
	if err := os.Remove(sheet); err != nil {
		t.Fatal(err)
	}
	if again := data[recordView](t, s, "record"); again.Written != "" || !again.Ready {
		t.Errorf("the record was made again, or is still there: %+v", again)
	}
	if w := request(t, s, "/do/record/write", url.Values{}); w.Code != http.StatusOK {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if _, err := os.Stat(sheet); err != nil {
		t.Error(err)
	}
}

// Two runs of one load are compared with the answer of the command's own kind;
// what cannot be compared keeps the form, with the reason.
func TestCompareTwoRuns(t *testing.T) {
	s := benchAt(t, surveyed(t))
	dir := filepath.Join(s.bench.Dir, logbook.RunsFolder)
	again, err := os.ReadFile(filepath.Join(dir, "0002-unpowered.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "0007-unpowered.jsonl"), again, 0o600); err != nil {
		t.Fatal(err)
	}
	v := data[compareView](t, s, "compare?before=2&after=7&part=steady")
	if v.Answer == nil || v.Problem != nil || v.Answer.Changed || v.Answer.Verdict != "stands" || v.Verdict == "" || len(v.Answer.Stations) < 10 {
		t.Errorf("compared with itself: %+v %+v", v.Problem, v.Answer)
	}
	if w := request(t, s, v.Picture, nil); !strings.Contains(w.Body.String(), "<svg") {
		t.Errorf("the map of change: %d %.80s", w.Code, w.Body)
	}
	for query, field := range map[string]string{
		"before=2": "before", "before=2&after=2": "after", "before=2&after=99": "after", "before=../../etc/passwd&after=2": "before",
		"before=2&after=7&part=rudder": "part",
	} {
		if v := data[compareView](t, s, "compare?"+query); v.Problem == nil || v.Problem.Field != field || v.Answer != nil {
			t.Errorf("%s: %+v", query, v.Problem)
		}
	}
	if v := data[compareView](t, s, "compare?before=3&after=4"); v.Problem == nil || v.Answer != nil {
		t.Errorf("two loads are compared: %+v", v.Answer)
	}
}

// What a form gets wrong is said at its field, and nothing is begun.
func TestBadFormsOfGuidedWorkAreRefusedAtTheField(t *testing.T) {
	s := example(t)
	for _, tt := range []struct{ action, form, field string }{
		{"calibrate/begin", "for_s=1", "for_s"},
		{"calibrate/begin", "for_s=NaN", "for_s"},
		{"calibrate/begin", "covered_percent=101", "covered_percent"},
		{"calibrate/begin", "scale_from=moon", "scale_from"},
		{"calibrate/begin", "parameters=5", "parameters"},
		{"arrow/begin", "dwell_s=0", "dwell_s"},
		{"arrow/begin", "calibration=../0001", "calibration"},
		{"arrow/begin", "north_deg=1e9", "north_deg"},
		{"arrow/begin", "probe=on", "probe"},
		{"arrow/begin", "pose=north&pose=upwards", "pose"},
		{"arrow/begin", "pose=north&pose=north&pose=east&calibrated=on", "pose"},
		{"arrow/begin", "pose=north&pose=east&pose=down", "pose"},
		{"arrow/begin", "pose=north&pose=east&pose=down&calibrated=on&pose_deg=0", "pose_deg"},
		{"arrow/begin", "pose_deg=31", "pose_deg"},
		{"arrow/command", "kind=explode", "kind"},
		{"swing/begin", "headings=3", "headings"},
		{"swing/begin", "headings=0,x", "headings"},
		{"swing/begin", "reference=stars", "reference"},
		{"swing/begin", "reference=line", "direction_deg"},
		{"swing/begin", "state=rudder", "state"},
		{"swing/begin", "heading_su_deg=0", "heading_su_deg"},
		{"prove/begin", "state=unpowered", "state"},
		{"prove/begin", "state=left+thruster&pulses=1", "pulses"},
		{"prove/begin", "state=left+thruster&current_a=-3", "current_a"},
	} {
		form, err := url.ParseQuery(tt.form)
		if err != nil {
			t.Fatal(err)
		}
		w := request(t, s, "/do/"+tt.action, form)
		var f serve.Failure
		if err := json.Unmarshal(w.Body.Bytes(), &f); err != nil || w.Code != http.StatusUnprocessableEntity || f.Field != tt.field || f.Error == "" {
			t.Errorf("%s %s: %d %s", tt.action, tt.form, w.Code, w.Body)
		}
	}
	for _, action := range []string{"calibrate/begin", "arrow/begin", "swing/begin", "arrow/resume", "swing/resume", "calibrate/end"} {
		if w := request(t, s, "/do/"+action, url.Values{}); w.Code != http.StatusUnprocessableEntity || s.bench.work.Busy() {
			t.Errorf("%s without a module: %d %s", action, w.Code, w.Body)
		}
	}
}

// Names from the craft file and the runs are shown as they are, never as markup.
func TestHostileNamesAreEscaped(t *testing.T) {
	const evil = `<img src=x onerror=alert(1)>`
	dir := surveyed(t)
	err := filepath.WalkDir(dir, func(name string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.HasSuffix(name, ".toml") && !strings.HasSuffix(name, ".jsonl") && !strings.HasSuffix(name, ".json") {
			return err
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		out := strings.NewReplacer("left thruster", evil, `"puck"`, `"`+evil+`"`, `"hatch shut"`, `"`+evil+`"`).Replace(string(text))
		return os.WriteFile(name, []byte(out), 0o600)
	})
	if err != nil {
		t.Fatal(err)
	}
	s := benchAt(t, dir)
	data[proveView](t, s, "prove")
	data[roomView](t, s, "room")
	shown := 0
	for _, path := range []string{"room", "runs?run=3", "prove", "compare", "arrow", "swing", "calibrate"} {
		w := request(t, s, "/panel/"+path, nil)
		body, err := io.ReadAll(w.Body)
		if err != nil || w.Code != http.StatusOK {
			t.Fatalf("%s: %d %v", path, w.Code, err)
		}
		if strings.Contains(string(body), evil) {
			t.Errorf("%s shows a name as markup", path)
		}
		if strings.Contains(string(body), "&lt;img src=x onerror") {
			shown++
		}
	}
	if shown < 5 {
		t.Errorf("the names are on %d panels only: nothing was tried", shown)
	}
}

// Storing the axes changes the craft file as the command does, and nothing else
// in it.
func TestAxesOfACheckAreStored(t *testing.T) {
	s := benchAt(t, surveyed(t))
	name := filepath.Join(s.bench.Dir, craftfile.Name)
	before, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	turned := strings.Replace(string(before), `axes             = ["+x", "+y", "+z"]`, `axes             = ["-x", "-y", "+z"]`, 1)
	if turned == string(before) {
		t.Fatal("the example's axes are written otherwise")
	}
	if err := os.WriteFile(name, []byte(turned), 0o600); err != nil {
		t.Fatal(err)
	}
	if w := request(t, s, "/do/arrow/store", url.Values{}); w.Code != http.StatusOK {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	craft, err := craftfile.Load(s.bench.Dir)
	if err != nil || craft.Module.Axes == nil || craft.Module.Axes[0][0] != 1 || craft.Module.Axes[1][1] != 1 {
		t.Errorf("axes %v, %v", craft.Module.Axes, err)
	}
}

// An empty folder tells what comes first and offers nothing that cannot work.
func TestPanelsBeforeAnythingIsMeasured(t *testing.T) {
	s := quietBench(t)
	if v := data[roomView](t, s, "room"); v.Room != nil || v.Minutes <= 0 {
		t.Errorf("room %+v", v)
	}
	if v := data[proveView](t, s, "prove"); v.Answer != nil || v.Place != nil || v.Why == "" {
		t.Errorf("prove %+v", v)
	}
	if v := data[recordView](t, s, "record"); v.Ready || v.Why == "" || len(v.Missing) < 5 {
		t.Errorf("record %+v", v)
	}
	if w := request(t, s, "/do/prove/begin", url.Values{"state": {"left thruster"}}); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "Choose a spot") {
		t.Errorf("a proof of no spot: %d %s", w.Code, w.Body)
	}

}
