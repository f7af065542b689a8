package evaluate

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/room"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// A current that nobody stated is on no axis of currents.
func TestNoReadingWithoutACurrent(t *testing.T) {
	run := &logbook.Run{Header: logbook.Header{State: "motor"}}
	craft := &survey.Craft{Loads: []survey.Load{{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 5}}}
	e := &evaluation{f: &Findings{Craft: craft}, obs: []room.Observation{{Craft: true, Pulsed: true}}, from: []int{0}, readings: []reading{{run: run}}}
	if r, ok := e.loadReading(0, 0, r3.Vec{X: 1}); ok {
		t.Errorf("a reading at %g A", r.CurrentA)
	}
}
