package say_test

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/say"
	"quietmount/survey"
)

func TestFromMarks(t *testing.T) {
	station := func(name string, ahead, right float64) survey.FromMark {
		return survey.FromMark{Kind: survey.MarkStation, Station: name, AheadMM: &ahead, RightMM: &right}
	}
	corner := func(ahead, right float64) survey.FromMark {
		return survey.FromMark{Kind: survey.MarkCorner, At: r2.Vec{X: 350, Y: -60.5}, AheadMM: &ahead, RightMM: &right}
	}
	ahead := func(kind survey.MarkKind, v float64) survey.FromMark {
		return survey.FromMark{Kind: kind, AheadMM: &v}
	}
	right := func(kind survey.MarkKind, v float64) survey.FromMark {
		return survey.FromMark{Kind: kind, RightMM: &v}
	}
	for _, c := range []struct {
		marks  []survey.FromMark
		height float64
		want   string
	}{
		{nil, 40, ""},
		{[]survey.FromMark{station("A5", -8, 24), station("A6", 52, 24)}, 0, "8 mm behind A5, 24 mm right of it (52 mm ahead of A6, 24 mm right of it)"},
		{[]survey.FromMark{station("A5", 0, -24)}, 40, "24 mm left of A5, 40 mm above the surface"},
		{[]survey.FromMark{station("A5", 0, 0), station("A6", 60, 0)}, 12.5, "at A5, 12.5 mm above the surface"},
		{[]survey.FromMark{station("A5", 3, 0), corner(-140, 40)}, 0, "3 mm ahead of A5 (140 mm behind the corner at x 350, y -60.5, 40 mm right of it)"},
		{[]survey.FromMark{ahead(survey.MarkRear, 190), right(survey.MarkCentreLine, -24)}, 0, "190 mm ahead of the rear edge, 24 mm left of the centre line"},
		{[]survey.FromMark{ahead(survey.MarkFront, 0), right(survey.MarkCentreLine, 0)}, 0, "at the front edge, on the centre line"},
		{[]survey.FromMark{{Kind: survey.MarkDatum, AheadMM: new(900.), RightMM: new(-900.)}}, 0, "900 mm ahead of the datum, 900 mm left of it"},
	} {
		if got := say.FromMarks(c.marks, c.height); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
