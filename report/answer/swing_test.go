package answer

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/magmath/heading"
	"quietmount/magmath/swing"
	"quietmount/report/internal/example"
)

func TestSwingAnswer(t *testing.T) {
	s := example.HandbookSwing(t, swing.Options{})
	a := NewSwing(SwingInput{Swing: s, LimitDeg: 5, Reference: "marks", State: "left thruster", CurrentA: new(9.0)})
	if a.OK || a.Published.Within || *a.MaxDeviationDeg != 20 || *a.MaxAtDeg != 65 || a.Coefficients.A == nil || math.Abs(a.Coefficients.B.Estimate-11.9397) > 1e-4 {
		t.Errorf("%+v", a)
	}
	var text bytes.Buffer
	if err := a.Text(&text); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"under load: left thruster at 9 A", "065         45.0     20.0 E", "anticlockwise", "14 CFR 29.1327", "not within the limit"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q is not in\n%s", want, text.String())
		}
	}
	for line := range strings.Lines(text.String()) {
		if len([]rune(line)) > 130 {
			t.Errorf("a line of %d characters: %s", len(line), line)
		}
	}
	if a := NewSwing(SwingInput{Swing: s, LimitDeg: 20, Reference: "marks"}); !a.OK {
		t.Errorf("within 20 degrees and not ok: %v", a.Why)
	}
	// The card turns each magnetic heading into the compass heading whose
	// deviation leads back to it.
	for _, c := range a.Card {
		if back := c.CompassDeg + s.Approximate.Approximate(c.CompassDeg); math.Abs(heading.Wrap180(back-c.HeadingDeg)) > 1e-6 {
			t.Errorf("card: for %g steer %g, which is %g", c.HeadingDeg, c.CompassDeg, back)
		}
	}
}

func TestSwingAnswerWithoutZero(t *testing.T) {
	a := NewSwing(SwingInput{Swing: example.HandbookSwing(t, swing.Options{Relative: true}), LimitDeg: 5})
	b, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Coefficients map[string]any
		Exact        map[string]any
		Reading      []string
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	if got.Coefficients["a_deg"] != nil || got.Exact["a"] != nil || got.Coefficients["b_deg"] == nil || slices.ContainsFunc(got.Reading, func(s string) bool { return strings.HasPrefix(s, "A") }) {
		t.Errorf("A is told: %s", b)
	}
}

func TestSwingAgainstAnEarlierOne(t *testing.T) {
	before, after := example.HandbookSwing(t, swing.Options{}), example.HandbookSwing(t, swing.Options{})
	after.Approximate.B -= 6
	a := NewSwing(SwingInput{Swing: after, LimitDeg: 5})
	a.Against(3, before, after)
	if a.Before == nil || !a.Before.Changed || len(a.Before.Changes) != 5 || math.Abs(*a.Before.Changes[1].ChangeDeg+6) > 1e-9 {
		t.Errorf("%+v", a.Before)
	}
	// B goes with the sine of the compass heading: less at east, more at west,
	// hardly anything near north.
	rows := a.Before.Table
	if len(rows) != 12 || math.Abs(*rows[0].ChangeDeg) > 2 || *rows[3].ChangeDeg > -4 || *rows[9].ChangeDeg < 4 {
		t.Errorf("side by side: north %.1f, east %.1f, west %.1f", *rows[0].ChangeDeg, *rows[3].ChangeDeg, *rows[9].ChangeDeg)
	}
	for _, r := range rows {
		if math.Abs(*r.NowDeg-*r.BeforeDeg-*r.ChangeDeg) > 1e-6 {
			t.Errorf("heading %g: %g to %g changes by %g", r.HeadingDeg, *r.BeforeDeg, *r.NowDeg, *r.ChangeDeg)
		}
	}
	var b strings.Builder
	if err := a.Text(&b); err != nil || !strings.Contains(b.String(), "swing 3") || !strings.Contains(b.String(), "change") {
		t.Errorf("%v: %s", err, b.String())
	}
	a.Against(3, before, before)
	if a.Before.Changed {
		t.Error("the same swing has changed")
	}
}

func TestPromiseSentence(t *testing.T) {
	p := swing.SteadyPromise{Predicted: r3.Vec{X: 3}, Found: r3.Vec{X: 3.5}, PredictedCov: magmath.Identity()}
	if s := PromiseSentence(p, p.Compare()); !strings.Contains(s, "3.0 uT") || !strings.Contains(s, "3.5 uT") || !strings.Contains(s, "is kept") {
		t.Error(s)
	}
	p.Found.Y = 9
	if s := PromiseSentence(p, p.Compare()); !strings.Contains(s, "more than chance") {
		t.Error(s)
	}
}

func TestArrowAnswerNamesTheAxes(t *testing.T) {
	// The sensor's x points right, its y to the tail, give or take a degree.
	m := magmath.Mat3{{0.02, -1, 0}, {1, 0.02, 0.01}, {0, 0, 1}}
	if got := NewArrow(ArrowInput{Arrow: arrow.Result{Rotation: m}}).Axes; got != `["+y", "-x", "+z"]` {
		t.Error(got)
	}
}

func TestArrowAnswerJudges(t *testing.T) {
	good := arrow.Result{Rotation: magmath.Identity(), ArrowPoints: arrow.ToNose, LabelFaces: arrow.ToUp, TwistDeg: 2, Agree: true}
	for name, tt := range map[string]struct {
		change func(*arrow.Result)
		store  bool
		ok     bool
	}{
		"good":              {func(*arrow.Result) {}, false, true},
		"twisted":           {func(a *arrow.Result) { a.TwistDeg = -6 }, false, false},
		"to the tail":       {func(a *arrow.Result) { a.ArrowPoints = arrow.ToTail }, false, false},
		"label down":        {func(a *arrow.Result) { a.LabelFaces = arrow.ToDown }, false, false},
		"mirrored":          {func(a *arrow.Result) { a.Mirrored = true }, false, false},
		"contradictory":     {func(a *arrow.Result) { a.Agree = false }, false, false},
		"found anew":        {func(a *arrow.Result) { a.ArrowPoints = arrow.ToTail }, true, true},
		"found anew, wrong": {func(a *arrow.Result) { a.Mirrored = true }, true, false},
	} {
		a := good
		tt.change(&a)
		got := NewArrow(ArrowInput{Arrow: a, LimitDeg: 5, Stores: tt.store})
		if got.OK != tt.ok || !tt.store && !tt.ok && name != "mirrored" && name != "contradictory" && len(got.Why) == 0 {
			t.Errorf("%s: ok %v, %v", name, got.OK, got.Why)
		}
		var text bytes.Buffer
		if err := got.Text(&text); err != nil || !strings.Contains(text.String(), "arrow_points  ") {
			t.Errorf("%s: %v\n%s", name, err, text.String())
		}
	}
}
