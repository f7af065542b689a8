package guide

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/logbook"
)

// A base return that reads another strength stops the walk; one that a hand explains
// does not.
func TestAChangeOfScaleIsSeenAtTheBase(t *testing.T) {
	base := r3.Vec{X: 18, Y: -2, Z: 44}
	for _, tt := range []struct {
		name string
		b    r3.Vec
		code string
	}{
		{"as before", r3.Vec{X: 18.4, Y: -1, Z: 43.8}, ""},
		{"1.22 times", r3.Scale(1.22, base), "guide.scale"},
		{"0.9 times", r3.Scale(0.9, base), "guide.scale"},
		{"on its side", r3.Vec{X: 44, Y: -2, Z: 18}, "guide.turned"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			first := &logbook.Capture{Number: 1, Station: "T", Visit: logbook.VisitBase, BUT: base}
			again := &logbook.Capture{Number: 9, Station: "T", Visit: logbook.VisitBase, BUT: tt.b}
			w := &Walk{captures: []*logbook.Capture{first, again}, baseB: &base}
			if got := w.scaleChanged(again).Code; got != tt.code {
				t.Errorf("%q, want %q", got, tt.code)
			}
			first.Void = "redone"
			if got := w.scaleChanged(again).Code; got != "" {
				t.Errorf("against a void capture: %q", got)
			}
		})
	}
}

// A repeat beside a strong magnet says nothing: a slip looks the same there.
func TestAChangeOfScaleAtARepeatNeedsAnOrdinaryField(t *testing.T) {
	base := r3.Vec{X: 18, Z: 44}
	for strength, want := range map[float64]string{1: "guide.scale", 4: ""} {
		first := &logbook.Capture{Number: 3, Station: "B2", Visit: logbook.VisitStation, BUT: r3.Scale(strength, base)}
		again := &logbook.Capture{Number: 9, Station: "B2", Visit: logbook.VisitRepeat, BUT: r3.Scale(1.3*strength, base)}
		w := &Walk{captures: []*logbook.Capture{first, again}, baseB: &base}
		if got := w.scaleChanged(again).Code; got != want {
			t.Errorf("%g times the field: %q, want %q", strength, got, want)
		}
	}
}
