package logbook_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/calib"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/verify"
)

// code stands for the words of a remark.
func code(r remark.Remark) string { return r.Code }

func acceptedResult() (calib.Result, []survey.Sample) {
	r := calib.Result{Accepted: true, Chosen: remark.Remark{Code: "invented.model"}, Parameters: 9, OffsetUT: r3.Vec{X: 1.25, Y: -7, Z: 3},
		Matrix: [3][3]float64{{1.02, 0.01, 0}, {0.01, 0.98, -0.02}, {0, -0.02, 1}}, ResidualUT: 0.3, SphereCovered: 0.8, Samples: 2}
	r.Covariance[0][0], r.Covariance[8][8] = 0.01, 1e-6
	return r, []survey.Sample{{TS: 0, B: r3.Vec{X: 1}}, {TS: 1, B: r3.Vec{Y: 2}}}
}

func TestCalibrationSaveAndLoad(t *testing.T) {
	dir := t.TempDir()
	r, samples := acceptedResult()
	c := logbook.NewCalibration(r, samples, code)
	c.Created = time.Date(2026, 5, 4, 3, 2, 1, 0, time.UTC)
	c.Source, c.Probe = "turn.csv", "puck"
	for _, id := range []string{"0001", "0002"} {
		stored, path, err := c.Save(dir)
		if err != nil || stored.ID != id || path != filepath.Join(dir, logbook.CalibrationFolder, id+".json") {
			t.Fatalf("stored %q at %s: %v", stored.ID, path, err)
		}
	}
	got, err := logbook.LoadCalibration(dir, "0002")
	want := c
	want.ID = "0002"
	if err != nil || !reflect.DeepEqual(*got, want) {
		t.Errorf("read back\n%+v, want\n%+v (%v)", got, want, err)
	}
	correction, err := logbook.LoadCorrection(dir, "0001")
	if err != nil || correction.OffsetUT != [3]float64{r.OffsetUT.X, r.OffsetUT.Y, r.OffsetUT.Z} || correction.Matrix != r.Matrix {
		t.Errorf("correction %+v, %v", correction, err)
	}
	if ids, err := logbook.CalibrationIDs(dir); err != nil || !reflect.DeepEqual(ids, []string{"0001", "0002"}) {
		t.Errorf("IDs %v, %v", ids, err)
	}
	for _, p := range verify.Folder(t.Context(), dir) {
		if strings.Contains(p.Remark.Place.File, "0001.json") {
			t.Errorf("verify: %v", p)
		}
	}
}

// The newest calibration is the one created last, whatever its file is called:
// one that was copied in from elsewhere has a name that sorts anywhere.
func TestNewestCalibration(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, logbook.CalibrationFolder), 0o700); err != nil {
		t.Fatal(err)
	}
	put := func(id, probe, created string, onCraft bool) {
		t.Helper()
		text := fmt.Sprintf(`{"format":1,"probe":%q,%s"on_craft":%t,"offset_ut":[1,2,3],"matrix":[[1,0,0],[0,1,0],[0,0,1]]}`, probe, created, onCraft)
		if err := os.WriteFile(filepath.Join(dir, logbook.CalibrationFolder, id+".json"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	day := func(d int) string { return fmt.Sprintf(`"created":"2026-05-%02dT10:00:00Z",`, d) }
	put("9999", "puck", day(4), false)
	put("10000", "puck", day(5), false)
	put("zeta", "puck", day(3), false)
	put("undated", "puck", "", false)
	put("10001", "puck", day(7), true)
	put("10002", "other", day(8), false)
	put("0007", "old", "", false)
	put("0008", "old", "", false)
	for _, tt := range []struct {
		probe   string
		onCraft bool
		want    string
	}{{"puck", false, "10000"}, {"puck", true, "10001"}, {"old", false, "0008"}} {
		if c, err := logbook.NewestCalibration(dir, tt.probe, tt.onCraft); err != nil || c == nil || c.ID != tt.want {
			t.Errorf("of %s, on the craft %t: %+v, %v; want %s", tt.probe, tt.onCraft, c, err, tt.want)
		}
	}
	if c, err := logbook.NewestCalibration(dir, "none", false); c != nil || err != nil {
		t.Errorf("of a probe without one: %v, %v", c, err)
	}
	ids, err := logbook.CalibrationIDs(dir)
	if want := []string{"0007", "0008", "9999", "10000", "10001", "10002", "undated", "zeta"}; err != nil || !slices.Equal(ids, want) {
		t.Errorf("IDs %q, %v", ids, err)
	}
}

func TestCalibrationNotAccepted(t *testing.T) {
	dir := t.TempDir()
	r, samples := acceptedResult()
	r.Accepted, r.Refusals = false, []remark.Remark{{Code: "invented.flat"}, {Code: "invented.short"}}
	_, _, err := logbook.NewCalibration(r, samples, code).Save(dir)
	if !errors.Is(err, logbook.ErrNotAccepted) || !strings.Contains(err.Error(), "invented.flat; invented.short") {
		t.Errorf("%v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, logbook.CalibrationFolder)); !os.IsNotExist(err) {
		t.Errorf("a folder was made: %v", err)
	}
}

func TestSamplesHash(t *testing.T) {
	_, samples := acceptedResult()
	a := logbook.SamplesHash(samples)
	samples[1].B.Z = 1e-9
	if b := logbook.SamplesHash(samples); a == b || len(a) != 64 {
		t.Errorf("%s and %s", a, b)
	}
	// SHA-256 of nothing: FIPS 180-4, example of the empty message.
	if h := logbook.SamplesHash(nil); h != "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" {
		t.Errorf("of nothing: %s", h)
	}
}

func TestLoadCalibrationRefuses(t *testing.T) {
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, logbook.CalibrationFolder), 0o755); err != nil {
		t.Fatal(err)
	}
	newer := `{"format": 99, "offset_ut": [1,2,3], "matrix": [[1,0,0],[0,1,0],[0,0,1]]}`
	for name, text := range map[string]string{"new": newer, "odd": `{"offset_ut": [1,2,3], "matrix": [[1,0,0],[0,1,0],[0,0,0]]}`} {
		if err := os.WriteFile(filepath.Join(dir, logbook.CalibrationFolder, name+".json"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for id, want := range map[string]string{"new": "newer than this program", "odd": "cannot be undone", "none": "no calibration none", "../x": "letters, digits"} {
		if _, err := logbook.LoadCalibration(dir, id); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", id, err, want)
		}
		if _, err := logbook.LoadCorrection(dir, id); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("correction of %s: %v, want %q", id, err, want)
		}
	}
}

// What was shown of the sphere is kept: no more readings than can be drawn,
// their directions after the correction, by hand for an offset and a gain.
func TestCalibrationKeepsWhatWasShown(t *testing.T) {
	r := calib.Result{Parameters: 6, OffsetUT: r3.Vec{X: 10}, Matrix: [3][3]float64{{2}, {0, 1}, {0, 0, 1}}, Gap: &calib.Hint{Turn: r3.Vec{Y: -1}, AngleDeg: 30}}
	r.Coverage.Add(r3.Vec{Z: -1})
	samples := make([]survey.Sample, 1001)
	for i := range samples {
		samples[i].B = r3.Vec{X: 12, Y: 3}
	}
	samples[0].B = r3.Vec{X: 10} // no direction
	c := logbook.NewCalibration(r, samples, code)
	if n := len(c.Directions); n < 100 || n > logbook.KeptDirections {
		t.Errorf("%d directions kept", n)
	}
	if want := [3]float64{0.8, 0.6, 0}; c.Directions[0] != want { // (2*2, 3, 0) of length 5
		t.Errorf("a direction of %v, want %v", c.Directions[0], want)
	}
	if len(c.Cells) != calib.Cells || c.Cells[calib.Cell(r3.Vec{Z: -1})] != 1 || c.Cells[0] != 0 || c.LargestGap != "calib.turn" {
		t.Errorf("cells %v, gap %q", c.Cells, c.LargestGap)
	}
}
