package sim

import (
	"testing"
	"time"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
	"quietmount/survey/walk"
)

// shelf keeps captures in memory.
type shelf struct{ captures []logbook.Capture }

func (s *shelf) Append(c logbook.Capture) error {
	s.captures = append(s.captures, c)
	return nil
}
func (s *shelf) Void(int, string, time.Time) error { return nil }
func (s *shelf) Note(logbook.Note) error           { return nil }

// The loop that a real survey runs in reads the stream from a goroutine of
// its own while the operator hears the guide in another.
func TestStreamInTheLoopOfASurvey(t *testing.T) {
	w, err := Sandpiper(2)
	if err != nil {
		t.Fatal(err)
	}
	marks := w.Craft.Stations()[:6]
	route, err := guide.Plan(w.Craft, guide.PlanOptions{State: survey.StateUnpowered, Stations: marks})
	if err != nil {
		t.Fatal(err)
	}
	g, err := guide.New(guide.Config{Craft: w.Craft, State: survey.StateUnpowered, Route: &route, Axes: w.Craft.Module.Axes})
	if err != nil {
		t.Fatal(err)
	}
	b := NewBench(w, DefaultProbe(), DefaultHand(), BenchOptions{Shape: ShapeLabels, Seed: 4})
	op := NewOperator(b, OperatorOptions{State: survey.StateUnpowered})
	kept := &shelf{}
	sum, err := walk.Run(t.Context(), walk.Config{
		Source: NewStream(b, link.NewDecoder(link.DecodeOptions{}), 3600), Commands: op.Commands(), Walk: g, Writer: kept,
		Face:  func(e guide.Event) error { op.Show(e); return nil },
		Now:   func() time.Time { return noon },
		Words: func(r remark.Remark) string { return r.Code },
	})
	if err != nil || !sum.Finished || len(kept.captures) < 8 {
		t.Errorf("%+v, %d captures, %v", sum, len(kept.captures), err)
	}
}
