package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"quietmount/report/filing"
	"quietmount/report/record"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/verify"
)

// TestDemonstrationEndsWithArrowAndSwing plays the end of the demonstration on
// a spot of the simulated craft's own choosing, twice.
func TestDemonstrationEndsWithArrowAndSwing(t *testing.T) {
	var said [2]string
	var files [2][]byte
	for i := range said {
		dir := t.TempDir()
		write(t, filepath.Join(dir, craftfile.Name), string(sim.SandpiperTOML()))
		folder, err := logbook.OpenFolder(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		world, err := sim.Sandpiper(1)
		if err != nil {
			t.Fatal(err)
		}
		spot := rank.Spot{Rank: 1}
		spot.At.X, spot.At.Z = -240, -20
		var out bytes.Buffer
		if err := simulateArrowAndSwing(context.Background(), &out, folder, world, &evaluate.Findings{}, &rank.Ranking{Spots: []rank.Spot{spot}}, demoStart, 1); err != nil {
			t.Fatal(err)
		}
		said[i] = out.String()
		for _, name := range []string{"swing/0001.jsonl", "swing/0002.jsonl", "calibration/0001.json", "calibration/0002.json"} {
			b, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
			if err != nil {
				t.Fatal(err)
			}
			files[i] = append(files[i], b...)
		}
		for _, p := range verify.Folder(t.Context(), dir) {
			if p.Severity == verify.SeverityError {
				t.Error(p)
			}
		}
		// The folder answers for itself.
		r := call(t, dir, "swing", "--json")
		if r.status != 0 && r.status != exitNo || !strings.Contains(r.out, `"coefficients"`) {
			t.Errorf("swing: status %d\n%s%s", r.status, r.out, r.stderr)
		}
		if r := call(t, dir, "arrow"); r.status != 0 || !strings.Contains(r.out, "arrow_points  nose") {
			t.Errorf("arrow: status %d\n%s%s", r.status, r.out, r.stderr)
		}
		var o record.Options
		err = filing.Gather(t.Context(), folder, &evaluate.Findings{}, &o)
		arrow, swung := o.Arrow, o.Swing
		if err != nil || arrow == nil || swung == nil || len(o.Problems) > 0 || arrow.ArrowPoints != "nose" || len(swung.Table) != 9 || swung.Swing != 2 {
			t.Errorf("for the record: %+v, %+v, %v, %v", arrow, swung, o.Problems, err)
		}
	}
	t.Log("\n" + said[0])
	if said[0] != said[1] || !bytes.Equal(files[0], files[1]) {
		t.Error("the same seed gives another demonstration")
	}
	for _, want := range []string{"points to the nose", "label faces up", "largest deviation"} {
		if !strings.Contains(said[0], want) {
			t.Errorf("%q is not said:\n%s", want, said[0])
		}
	}
}
