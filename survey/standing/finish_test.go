package standing

import (
	"strings"
	"testing"
	"time"

	"quietmount/survey"
)

func TestFinishStandsBeforeTheSheet(t *testing.T) {
	swings := []*survey.SwingFile{{
		Run: &survey.Run{
			Header:   survey.Header{Started: time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)},
			Captures: []survey.Capture{{Number: 1, Station: "north"}, {Number: 2, Station: "east", Void: "lifted"}}, Ended: true,
		},
		Swing: survey.SwingHeader{What: survey.SwingArrow},
	}}
	s := &Standing{Craft: "plank", Steps: []Step{{Name: "describe", Done: true}, {Name: "choose", Done: true}, {Name: "write the record sheet"}}}
	s.Finish("my craft", swings)
	if len(s.Steps) != 5 || s.Steps[4].Name != "write the record sheet" {
		t.Fatalf("%+v", s.Steps)
	}
	arrow, swing := s.Steps[2], s.Steps[3]
	if !arrow.Done || !strings.Contains(arrow.Detail, "1 capture of 2026-06-01") {
		t.Errorf("%+v", arrow)
	}
	if swing.Done || swing.Command != `quietmount swing "my craft" --port PORT` || s.Next().Name != "swing the craft" {
		t.Errorf("%+v, next %+v", swing, s.Next())
	}
	none := &Standing{Steps: []Step{{Name: "describe the craft"}}}
	none.Finish(".", nil)
	if len(none.Steps) != 1 {
		t.Errorf("%+v", none.Steps)
	}
}
