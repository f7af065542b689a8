package evaluate

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/geomag"
	"quietmount/survey"
)

// A bench whose background could not be tested is not called fit, and the
// answer says why.
func TestBenchThatCouldNotBeTestedIsNotFit(t *testing.T) {
	f := &Findings{Craft: &survey.Craft{}, Reference: geomag.Elements{F: 49000}}
	rf := RoomFinding{Session: "invented", Backgrounds: fewBackgrounds, FieldUT: &r3.Vec{Z: 49}, MisfitP: 0.4}
	if b := f.judgeBench(rf); !b.Fit {
		t.Fatalf("a quiet bench: %v", b.Why)
	}
	rf.MisfitP, rf.Untested = math.NaN(), errors.New("invented reason")
	b := f.judgeBench(rf)
	if b.Fit || len(b.Why) != 1 || b.Why[0].Code != "evaluate.bench_untested" || b.Why[0].Values["cause"] != rf.Untested {
		t.Errorf("untested: fit %t, %v", b.Fit, b.Why)
	}
	e := &evaluation{f: f}
	e.remarkRoom(rf, &setup{Session: "invented"})
	if len(f.Notes) != 1 || f.Notes[0].Code != "evaluate.room_untested" || f.Notes[0].Values["cause"] != rf.Untested {
		t.Errorf("notes %v", f.Notes)
	}
}
