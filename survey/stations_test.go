package survey

import (
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
)

// Spreadsheets number columns the same way: the 26th is Z, the 27th AA, the
// 702nd ZZ, the 703rd AAA, and the last of an ISO/IEC 29500 sheet, the
// 16384th, is XFD.
func TestColumnLetters(t *testing.T) {
	for column, want := range map[int]string{1: "A", 2: "B", 26: "Z", 27: "AA", 28: "AB", 52: "AZ", 53: "BA", 702: "ZZ", 703: "AAA", 16384: "XFD"} {
		if got := columnLetters(column - 1); got != want {
			t.Errorf("column %d is %s, want %s", column, got, want)
		}
	}
}

func nodeNames(nodes []Station) []string {
	var names []string
	for _, n := range nodes {
		names = append(names, n.Name)
	}
	return names
}

func TestGridOnAConcaveOutline(t *testing.T) {
	l := plane.Polygon{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 40}, {X: 40, Y: 40}, {X: 40, Y: 100}, {X: 0, Y: 100}}
	// x runs from 0 to 100 towards the nose, y to the right; the notch is at
	// large x and large y.
	nodes, ok := Grid{SpacingMM: 50, OriginMM: r2.Vec{X: 200, Y: -100}}.Nodes(l, 100)
	// Rows x = 100, 50, 0; columns y = 0, 50, 100. Of x = 100 and of x = 50
	// only y = 0 lies on the craft, the edge included.
	want := []string{"A1", "A2", "A3", "B3", "C3"}
	if got := nodeNames(nodes); !ok || !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if nodes[0].At != (r3.Vec{X: 100}) || nodes[4].At != (r3.Vec{Y: 100}) {
		t.Errorf("A1 at %v, C3 at %v", nodes[0].At, nodes[4].At)
	}
	if _, ok := (Grid{SpacingMM: 50}).Nodes(l, 4); ok {
		t.Error("five nodes were taken for four")
	}
}

// A letter is kept for a line that meets the box around the craft in no node:
// the middle of a U.
func TestGridKeepsLettersOverAGap(t *testing.T) {
	u := plane.Polygon{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 10}, {X: 5, Y: 10}, {X: 5, Y: 90}, {X: 100, Y: 90}, {X: 100, Y: 100}, {X: 0, Y: 100}}
	nodes, _ := Grid{SpacingMM: 50, OriginMM: r2.Vec{X: 50}}.Nodes(u, 100)
	want := []string{"A1", "C1", "A2", "C2", "A3", "B3", "C3"}
	if got := nodeNames(nodes); !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// Tenths of a millimetre do not add up in binary; the edge still counts and
// the places print as written.
func TestGridIsRounded(t *testing.T) {
	p := plane.Polygon{{X: 0, Y: 0}, {X: 100.1, Y: 0}, {X: 100.1, Y: 0.3}, {X: 0, Y: 0.3}}
	nodes, _ := Grid{SpacingMM: 14.3}.Nodes(p, 100)
	if len(nodes) != 8 || nodes[0].At.X != 100.1 || nodes[1].At.X != 85.8 {
		t.Errorf("%v", nodes)
	}
}
