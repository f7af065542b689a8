package say

import (
	"fmt"
	"math"
	"strings"

	"quietmount/survey"
)

// FromMarks describes a place as a builder measures it, with the height of what
// stands there: "8 mm behind A5, 24 mm right of it (52 mm ahead of A6, 24 mm right of
// it), 40 mm above the surface". It is empty without marks.
func FromMarks(marks []survey.FromMark, heightMM float64) string {
	out := FromFewest(marks)
	if out == "" {
		return ""
	}
	if len(marks) > 1 && fixes(marks[0]) && !exactly(marks[0]) {
		out += " (" + FromMark(marks[1]) + ")"
	}
	if heightMM != 0 {
		out += ", " + Short(Tidy(heightMM)) + " mm above the surface"
	}
	return out
}

// FromFewest describes a place from no more marks than fix it: the first, or the first
// two if that is a line. It is empty without marks.
func FromFewest(marks []survey.FromMark) string {
	var parts []string
	for _, m := range marks {
		parts = append(parts, FromMark(m))
		if fixes(m) {
			break
		}
	}
	return strings.Join(parts, ", ")
}

// fixes reports whether a mark by itself fixes the place.
func fixes(m survey.FromMark) bool { return m.AheadMM != nil && m.RightMM != nil }

// FromMark describes a place from one mark: "8 mm behind A5, 24 mm right of it", "at A5".
func FromMark(m survey.FromMark) string {
	var parts []string
	add := func(v *float64, plus, minus string) {
		if v == nil || *v == 0 {
			return
		}
		way, of := plus, " of it"
		if *v < 0 {
			way = minus
		}
		if way == "behind" {
			of = " it"
		}
		if len(parts) == 0 {
			of = strings.Replace(of, "it", "the "+MarkName(m), 1)
			if m.Kind == survey.MarkStation {
				of = strings.Replace(of, "the ", "", 1)
			}
		}
		parts = append(parts, fmt.Sprintf("%.0f mm %s%s", math.Abs(*v), way, of))
	}
	add(m.AheadMM, "ahead", "behind")
	add(m.RightMM, "right", "left")
	switch {
	case len(parts) > 0:
		return strings.Join(parts, ", ")
	case m.Kind == survey.MarkStation:
		return "at " + MarkName(m)
	case m.Kind == survey.MarkCentreLine:
		return "on the centre line"
	}
	return "at the " + MarkName(m)
}

// exactly reports whether the place is the mark itself.
func exactly(m survey.FromMark) bool {
	return fixes(m) && *m.AheadMM == 0 && *m.RightMM == 0
}

// MarkName returns a mark without an article: the name of a station, "corner at x 350,
// y 60", "front edge".
func MarkName(m survey.FromMark) string {
	switch m.Kind {
	case survey.MarkStation:
		return m.Station
	case survey.MarkCorner:
		return fmt.Sprintf("corner at x %s, y %s", Tenths(m.At.X), Tenths(m.At.Y))
	}
	return string(m.Kind)
}
