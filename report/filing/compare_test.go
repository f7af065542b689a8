package filing

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"quietmount/report/record"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// The example's calibration 0002 was taken on its finished craft. The measured steady
// part is the difference of the offsets of the two stored files, turned into the
// craft frame; the rest is checked against those files alone.
func TestRecordHoldsFinishedCraftAgainstMap(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS("../../testdata/example-sandpiper")); err != nil {
		t.Fatal(err)
	}
	o, page, files := recorded(t, dir, evaluated(t), nil)
	if o.Promise == nil || o.NotCompared != "" || len(o.Compared) != 2 || len(o.Calibrations) != 2 {
		t.Fatalf("promise %+v, not compared: %q, calibrations %v", o.Promise, o.NotCompared, o.Compared)
	}
	var got struct {
		Found  [3]float64 `json:"found_ut"`
		Iron   [3]float64 `json:"induced_ut"`
		SU     [3]float64 `json:"found_standard_uncertainty_ut"`
		PValue float64    `json:"p_value"`
		Why    string     `json:"why"`
	}
	if err := json.Unmarshal(files["promise.json"], &got); err != nil {
		t.Fatal(err)
	}
	loose, on := stored(t, dir, "0001"), stored(t, dir, "0002")
	// The gains of the simulated module differ from 1 by less than 3 %, and its
	// axes only change places: without the induced part the lengths are the same within
	// that.
	var off, su float64
	for i := range 3 {
		off = math.Hypot(off, on.OffsetUT[i]-loose.OffsetUT[i])
		su = math.Hypot(su, math.Hypot(on.OffsetStandard[i], loose.OffsetStandard[i]))
	}
	hard := got.Found
	for i := range hard {
		hard[i] -= got.Iron[i]
	}
	if d := length(hard) - off; math.Abs(d) > 0.03*off {
		t.Errorf("found %v, the stored offsets are %.3f uT apart", got.Found, off)
	}
	if d := length(got.SU) - su; math.Abs(d) > 0.03*su {
		t.Errorf("uncertainty %v, want a length of %.4f uT", got.SU, su)
	}
	for _, want := range []string{"The steady part is what the map promised.", "promised by the map", strings.ReplaceAll(got.Why[1:], "uT", "µT"), "the comparison of the steady part"} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is not in the sheet", want)
		}
	}
}

func TestRecordSaysWhatIsNotCompared(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS("../../testdata/example-sandpiper")); err != nil {
		t.Fatal(err)
	}
	found := evaluated(t)
	for _, c := range []struct{ name, gone, want string }{
		{"not calibrated on the craft", "calibration/0002.json", "the finished craft was not calibrated"},
		{"no loose calibration", "calibration/0001.json", "no calibration of the loose module is stored"},
		{"no choice", logbook.ChoiceFile, "no spot is chosen"},
	} {
		t.Run(c.name, func(t *testing.T) {
			kept, err := os.ReadFile(filepath.Join(dir, c.gone))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Remove(filepath.Join(dir, c.gone)); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() {
				if err := os.WriteFile(filepath.Join(dir, c.gone), kept, 0o600); err != nil {
					t.Error(err)
				}
			})
			var o record.Options
			if err := Gather(t.Context(), folderOf(dir, found), found, &o); err != nil {
				t.Fatal(err)
			}
			if !strings.Contains(o.NotCompared, c.want) || o.Promise != nil {
				t.Errorf("promise %+v, not compared: %q, want %q", o.Promise, o.NotCompared, c.want)
			}
		})
	}
	if err := os.Remove(filepath.Join(dir, logbook.ChoiceFile)); err != nil {
		t.Fatal(err)
	}
	ranking, err := rank.Rank(t.Context(), found, rank.Options{})
	if err != nil {
		t.Fatal(err)
	}
	_, page, files := recorded(t, dir, found, ranking)
	if !strings.Contains(page, "The steady part was not compared with the map.") || !strings.Contains(page, "No spot is chosen") {
		t.Error("the sheet does not say that there was no choice to compare with")
	}
	if !strings.Contains(page, "The first spot of the ranking") || !strings.Contains(page, "not chosen yet") {
		t.Error("the sheet is not about the first spot, or does not say that it is not chosen")
	}
	if files["promise.json"] != nil {
		t.Error("a comparison without its parts")
	}
}

// folderOf returns a folder with the runs of its findings.
func folderOf(dir string, found *evaluate.Findings) *logbook.Folder {
	return &logbook.Folder{Dir: dir, Craft: found.Craft, Runs: append(slices.Clone(found.Runs), found.Proofs...)}
}

func length(v [3]float64) float64 { return math.Hypot(math.Hypot(v[0], v[1]), v[2]) }

func stored(t *testing.T, dir, id string) *logbook.Calibration {
	t.Helper()
	c, err := logbook.LoadCalibration(dir, id)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// evaluated returns the findings of the example, which both tests share.
func evaluated(t *testing.T) *evaluate.Findings {
	t.Helper()
	found, err := exampleFindings()
	if err != nil {
		t.Fatal(err)
	}
	return found
}

var exampleFindings = sync.OnceValues(func() (*evaluate.Findings, error) {
	f, err := logbook.OpenFolder(context.Background(), "../../testdata/example-sandpiper")
	if err != nil {
		return nil, err
	}
	return evaluate.Evaluate(context.Background(), f.Craft, f.Runs, evaluate.Options{})
})

// recorded returns the record of a folder, with a ranking or without: its options,
// its page with plain spaces, and its files.
func recorded(t *testing.T, dir string, found *evaluate.Findings, ranking *rank.Ranking) (o record.Options, page string, files map[string][]byte) {
	t.Helper()
	if err := Gather(t.Context(), folderOf(dir, found), found, &o); err != nil {
		t.Fatal(err)
	}
	all, err := record.Files(t.Context(), found, ranking, o)
	if err != nil {
		t.Fatal(err)
	}
	files = map[string][]byte{}
	for _, x := range all {
		files[x.Name] = x.Data
	}
	return o, string(bytes.ReplaceAll(files["sheet.html"], []byte("\u00a0"), []byte(" "))), files
}
