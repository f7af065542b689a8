package picture

import (
	"strings"
	"testing"

	"quietmount/report/draw"
	"quietmount/report/internal/example"
)

// On a phone 360 CSS pixels wide the letters of a narrow picture, 8.5 points on
// paper, are over 10 pixels high. Nothing is outside the page.
func TestNarrowPicturesFitAPhone(t *testing.T) {
	f := twoLoads(example.WithReadings(example.Findings(inventedHull(), example.Bump{Peak: 9, Width: 60, Ground: 0.4}, nil)))
	m, err := Map(t.Context(), f, nil, MapOptions{Narrow: true})
	if err != nil {
		t.Fatal(err)
	}
	l, err := LoadChart(f, nil, LoadChartOptions{Load: "motor", Narrow: true})
	if err != nil {
		t.Fatal(err)
	}
	s, err := States(t.Context(), f, nil, MapOptions{Narrow: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []*draw.Picture{m, l, s[0]} {
		if pixels := draw.TextSize * 360 / p.Width.Points(); pixels < 10 {
			t.Errorf("%s: letters of %.1f pixels", p.Title(), pixels)
		}
		for _, frame := range append(p.Panels, p.Frame) {
			for _, q := range f.Craft.Body.OutlineMM {
				if at := frame.At(q); frame.Scale > 0 && (at.X < 0 || at.X > p.Width || at.Y < 0 || at.Y > p.Height) {
					t.Errorf("%s: %v is off the page", p.Title(), q)
				}
			}
		}
	}
}

// If the limit has no line, the legend says on which side of it all values are.
func TestLimitKey(t *testing.T) {
	q := quantity{limit: 5, limitWords: "budget 5°"}
	for _, c := range []struct {
		shown []float64
		want  string
	}{
		{[]float64{6, 80}, "over the budget 5° everywhere"},
		{[]float64{0.1, 4.9}, "under the budget 5° everywhere"},
		{[]float64{0.1, 6}, "quieter on the light side"},
		{nil, "quieter on the light side"},
	} {
		if k := limitKey(q, c.shown); !strings.Contains(k.Words, c.want) || (k.Draw == nil) != strings.Contains(c.want, "everywhere") {
			t.Errorf("%v: %q", c.shown, k.Words)
		}
	}
}
