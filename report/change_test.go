package report_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/report"
	"quietmount/survey"
	"quietmount/survey/findings"
	"quietmount/survey/sim"
)

// comparison is a simulated craft surveyed twice, a magnet added in between.
func comparison(t *testing.T) *findings.Comparison {
	t.Helper()
	trial, err := sim.Random(3, sim.Hull, false)
	if err != nil {
		t.Fatal(err)
	}
	w := *trial.World
	all := w.Craft.Stations()
	at := w.Craft.Measures().SensorAt(all[len(all)/2].At, 0)
	at.Z += 30
	w.Magnets = append(append([]source.Dipole{}, w.Magnets...), source.Dipole{AtMM: at, MomentAm2: r3.Vec{X: 0.03, Z: 0.04}})
	var runs []*survey.Run
	for i, world := range []*sim.World{trial.World, &w} {
		start := time.Date(2026, 6, 1+i, 9, 0, 0, 0, time.UTC)
		session := start.Format(time.DateOnly)
		runs = append(runs,
			sim.Captures(world, trial.Probe, trial.Hand, sim.RunOptions{Number: 2*i + 1, State: survey.StateBackground, Stations: all[:6], Samples: 40, Started: start, Session: session, Seed: uint64(i)}),
			sim.Captures(world, trial.Probe, trial.Hand, sim.RunOptions{Number: 2*i + 2, State: survey.StateUnpowered, Stations: all, Repeats: 3, Samples: 40, Started: start.Add(time.Hour), Session: session, ClockS: 900, Seed: uint64(i + 10)}))
	}
	c, err := findings.Compare(w.Craft, runs, runs[1:2], runs[3:4], findings.CompareOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCompareAnswer(t *testing.T) {
	c := comparison(t)
	var b bytes.Buffer
	a := report.NewCompareAnswer(c, false)
	if err := report.WriteJSON(&b, a); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Stations []struct {
			Name     string     `json:"name"`
			Change   [3]float64 `json:"change_ut"`
			P        *float64   `json:"p_value"`
			Changed  *bool      `json:"significant"`
			BeforeUT [3]float64 `json:"before_ut"`
		} `json:"stations"`
		Changed bool            `json:"changed"`
		Common  json.RawMessage `json:"common_change"`
		Verdict string          `json:"verdict"`
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if !got.Changed || len(got.Common) < 10 || (got.Verdict != report.VerdictStands && got.Verdict != report.VerdictFalls) {
		t.Errorf("changed %v, verdict %q", got.Changed, got.Verdict)
	}
	if len(got.Stations) != len(c.Stations) || got.Stations[0].P == nil || got.Stations[0].Changed == nil {
		t.Errorf("%d stations in the answer, %d compared", len(got.Stations), len(c.Stations))
	}
	var words strings.Builder
	if err := a.Text(&words); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"changed", "new magnet", "cannot be told from another", got.Verdict} {
		if !strings.Contains(strings.Join(strings.Fields(words.String()), " "), want) {
			t.Errorf("the text lacks %q:\n%s", want, words.String())
		}
	}
}

func TestChangePicture(t *testing.T) {
	c := comparison(t)
	var first []byte
	for range 2 {
		var b bytes.Buffer
		if err := report.Change(c).Write(&b, report.SVG); err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b.Bytes()
		} else if !bytes.Equal(first, b.Bytes()) {
			t.Error("the same comparison gives other bytes")
		}
	}
	for _, want := range []string{"NOSE", "LEFT", "RIGHT", "+", "µT"} {
		if !bytes.Contains(first, []byte(want)) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	for _, f := range []report.Format{report.PNG, report.PDF} {
		var b bytes.Buffer
		if err := report.Change(c).Write(&b, f); err != nil || b.Len() < 1000 {
			t.Errorf("%s: %d bytes, %v", f, b.Len(), err)
		}
	}
}

// Where the sensor would be on a lead there is no change to show, and the
// legend says so; elsewhere it does not.
func TestChangePictureOnALead(t *testing.T) {
	c := comparison(t)
	drawn := func() string {
		var b bytes.Buffer
		if err := report.Change(c).Write(&b, report.SVG); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	if strings.Contains(drawn(), "no value: the sensor") {
		t.Error("a place without a value on a craft without a lead on its surface")
	}
	z := c.Before.Craft.Surface().Z(0, 0)
	c.Before.Craft.Parts = append(c.Before.Craft.Parts, survey.Part{Name: "lead", PathMM: []r3.Vec{{X: -80, Z: z}, {X: 80, Z: z}}})
	if !strings.Contains(drawn(), "no value: the sensor") {
		t.Error("a change is shown on a lead")
	}
}
