package logbook_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/survey/logbook"
)

// The files of the committed example come out of reading and writing as they
// were, byte by byte.
func TestStoredFilesAreWrittenAsTheyWere(t *testing.T) {
	lines := 0
	for _, folder := range []string{logbook.RunsFolder, logbook.SwingFolder} {
		names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "example-sandpiper", folder, "*.jsonl"))
		if err != nil || len(names) == 0 {
			t.Fatalf("no files in %s: %v", folder, err)
		}
		for _, name := range names {
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for line := range bytes.Lines(b) {
				again, err := logbook.Again(line, folder == logbook.SwingFolder)
				if err != nil || !bytes.Equal(again, line) {
					t.Fatalf("%s: %v\n%.300s\nbecame\n%.300s", name, err, line, again)
				}
				lines++
			}
		}
	}
	if lines < 20 {
		t.Errorf("only %d lines", lines)
	}
	all := `{"kind":"header","format":1,"run":3,"craft":"a","craft_sha256":"b","state":"c","current_a":0,"pulsed":true,"substitute":true,"probe":"d",` +
		`"axes":[[1,0,0],[0,1,0],[0,0,1]],"calibration":"e","correction":{"offset_ut":[1,2.5,1e-7],"matrix":[[1,0,0],[0,1,0],[0,0,1e+21]]},"port":"f",` +
		`"decoder":"g","tool":"h","started":"2026-06-01T09:30:00+02:00","session":"i","nose_deg":0,"fitted":["j"],"confirmed":["k"],"imported":true,` +
		`"rhythm":{"pulses":6,"on_s":3,"off_s":3,"drop_s":0.5},"stations":["l"],"proof":true,"extra_stations":[{"name":"m","x_mm":1,"y_mm":2,"z_mm":-3}]`
	swing := `,"what":"swing","reference":"sun","zero_deg":1,"zero_standard_uncertainty_deg":2,"relative":true,"heading_standard_uncertainty_deg":3,` +
		`"calibrated":true,"reference_from":"n","spot":{"x_mm":1,"y_mm":2,"z_mm":3,"height_mm":4}`
	for _, line := range []string{all + "}\n", all + swing + "}\n"} {
		if again, err := logbook.Again([]byte(line), strings.Contains(line, "what")); err != nil || string(again) != line {
			t.Errorf("%v\n%s\nbecame\n%s", err, line, again)
		}
	}
}
