package picture

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/plane"
	"quietmount/report/internal/example"
	"quietmount/survey"
	"quietmount/survey/rank"
)

// Every reason why a place is forbidden has its pattern and its line in the key, and
// what nothing forbids has neither.
func TestMapSaysWhereTheModuleMayNotBeMounted(t *testing.T) {
	hill := example.Bump{Peak: 14, Width: 60, Ground: 0.3, SD: 0.1}
	for _, c := range []struct {
		name   string
		change func(*survey.Craft)
		want   []string
	}{
		{"all", func(c *survey.Craft) {
			c.Balance = &survey.Balance{CGXMM: [2]float64{-63, -57}, CGYMM: [2]float64{-3, 3}}
		},
			[]string{"cable", "balance", "keep-out", "clearance", "edge"}},
		{"keep-out only", func(c *survey.Craft) { c.Cable, c.Parts = nil, nil }, []string{"keep-out", "edge"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			hull := inventedHull()
			hull.Module.MassG = 24
			c.change(hull)
			p, err := Map(t.Context(), example.Findings(hull, hill, hill), nil, MapOptions{})
			if err != nil {
				t.Fatal(err)
			}
			layout := p.Layout()
			for _, reason := range patterns() {
				wanted := slices.ContainsFunc(c.want, func(w string) bool { return strings.Contains(reason.words, w) })
				if got := slices.Contains(layout, "key: "+reason.words); got != wanted {
					t.Errorf("%q in the key: %v", reason.words, got)
				}
				if none := slices.Contains(layout, reason.words+": 0 marks"); none == wanted {
					t.Errorf("%q drawn: %v", reason.words, !none)
				}
			}
			keep(t, fmt.Sprintf("forbidden-%s.png", c.name), p)
		})
	}
}

// A pattern lies where its constraint forbids, decided by hand, and nowhere else.
func TestPatternsLieWhereTheConstraintForbids(t *testing.T) {
	c := inventedHull()
	c.Keepouts = []survey.Keepout{{Name: "box", OutlineMM: plane.Polygon{{X: 60, Y: -30}, {X: 60, Y: 30}, {Y: 30}, {Y: -30}}}}
	m := rank.NewMountable(t.Context(), example.Findings(c, example.Bump{Peak: 1, Width: 50, SD: 0.1}, nil), 40)
	for x := -215.0; x < 240; x += 7 {
		for y := -115.0; y < 120; y += 7 {
			at := r2.Vec{X: x, Y: y}
			keepout := math.Abs(x-30) < 30+19 && math.Abs(y) < 30+15
			battery := math.Hypot(max(0, math.Abs(x+60)-19), max(0, math.Abs(y)-15)) < 30
			cable := math.Hypot(40, 20)+math.Hypot(x+60, y-60)+40 > 300-20
			for kind, want := range map[string]bool{"keepout": keepout, "clearance": battery, rank.KindCable: cable} {
				if got := m.Forbids(kind, at); got != want {
					t.Errorf("%s at %v: %v, want %v", kind, at, got, want)
				}
			}
		}
	}
}
