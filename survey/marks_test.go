package survey_test

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/survey"
)

// measured writes marks as "name ahead right", a dash for a direction that the mark
// does not fix.
func measured(marks []survey.FromMark) []string {
	show := func(v *float64) string {
		if v == nil {
			return "-"
		}
		return fmt.Sprint(*v)
	}
	var out []string
	for _, m := range marks {
		name := string(m.Kind)
		if m.Kind == survey.MarkStation {
			name = m.Station
		}
		out = append(out, name+" "+show(m.AheadMM)+" "+show(m.RightMM))
	}
	return out
}

// The places are worked out by hand on squared paper. A grid of 60 mm over a craft of
// 400 by 240 mm has its columns A..E at y = -120, -60 .. 120 and its rows 1..7 at
// x = 180, 120 .. -180: A5 is at (-60, -120), A6 at (-120, -120).
func TestFromMarks(t *testing.T) {
	hull := plane.Polygon{{X: 200, Y: -120}, {X: 200, Y: 120}, {X: -200, Y: 120}, {X: -200, Y: -120}}
	lopsided := plane.Polygon{{X: 500, Y: -300}, {X: 500, Y: 200}, {X: -500, Y: 200}, {X: -500, Y: -300}}
	round := plane.Polygon{}
	for k := range 16 { // each point turns by 22.5 degrees: none is a corner
		sin, cos := math.Sincos(float64(k) * math.Pi / 8)
		round = append(round, r2.Vec{X: 100 * cos, Y: 100 * sin})
	}
	grid := &survey.Grid{SpacingMM: 60}
	mast := []survey.Station{{Name: "mast", At: r3.Vec{X: 10, Y: 5, Z: -240}}}
	for _, c := range []struct {
		name    string
		outline plane.Polygon
		grid    *survey.Grid
		singles []survey.Station
		at      r2.Vec
		want    []string
	}{
		{"between two stations", hull, grid, nil, r2.Vec{X: -68, Y: -96}, []string{"A5 -8 24", "B5 -8 -36"}},
		{"nearer to the next row", hull, grid, nil, r2.Vec{X: -88, Y: -115}, []string{"A5 -28 5", "A6 32 5"}},
		{"on a station but for half a millimetre", hull, grid, nil, r2.Vec{X: -60.4, Y: -119.7}, []string{"A5 0 0", "A6 60 0"}},
		{"in the middle of four", hull, grid, nil, r2.Vec{X: -30, Y: -90}, []string{"A4 -30 30", "B4 -30 -30"}},
		{"two stations at one place count once", hull, grid, []survey.Station{{Name: "over A5", At: r3.Vec{X: -60, Y: -120, Z: -90}}}, r2.Vec{X: -61, Y: -120}, []string{"A5 -1 0", "A6 59 0"}},
		{"a wide grid reaches as far as its spacing", lopsided, &survey.Grid{SpacingMM: 400}, nil, r2.Vec{X: 190, Y: -190}, []string{"A2 190 -190", "A1 -210 -190"}},
		{"one station, a corner", hull, nil, mast, r2.Vec{X: 60, Y: 80}, []string{"mast 50 75", "corner -140 -40"}},
		{"one station, no corner near", hull, nil, mast, r2.Vec{X: 20, Y: 0}, []string{"mast 10 -5", "front edge -180 -"}},
		{"no stations: corners", hull, nil, nil, r2.Vec{X: -190, Y: -20}, []string{"corner 10 100", "corner 10 -140"}},
		{"no corner near: an edge and the centre line", hull, nil, nil, r2.Vec{X: -10, Y: 24}, []string{"rear edge 190 -", "centre line - 24"}},
		{"no centre line: two edges", lopsided, nil, nil, r2.Vec{X: 100, Y: -60}, []string{"front edge -400 -", "left edge - 240"}},
		{"a round outline has no corners", round, nil, nil, r2.Vec{X: 40}, []string{"front edge -60 -", "centre line - 0"}},
		{"outside the outline", lopsided, nil, nil, r2.Vec{X: 900, Y: 900}, []string{"datum 900 900"}},
	} {
		craft := &survey.Craft{Body: survey.Body{OutlineMM: c.outline}, Grid: c.grid, Singles: c.singles}
		if got := measured(craft.FromMarks(c.at)); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
