package draw

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/plot/vg"
)

// In any crowd no two names overlap and none is outside the region.
func TestLabelsKeepApart(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	l := Labels{Region: vg.Rectangle{Max: vg.Point{X: 300, Y: 200}}}
	placed := 0
	for range 400 {
		at := vg.Point{X: vg.Points(300 * rng.Float64()), Y: vg.Points(200 * rng.Float64())}
		if _, _, ok := l.near(at, 10+30*rng.Float64(), 8, 3, 9); ok {
			placed++
		}
	}
	if placed < 60 || placed != len(l.taken) {
		t.Errorf("%d placed, %d claimed", placed, len(l.taken))
	}
	for i, a := range l.taken {
		if a.Min.X < 0 || a.Min.Y < 0 || a.Max.X > 300 || a.Max.Y > 200 {
			t.Errorf("%v leaves the region", a)
		}
		for _, b := range l.taken[:i] {
			if a.Min.X < b.Max.X && b.Min.X < a.Max.X && a.Min.Y < b.Max.Y && b.Min.Y < a.Max.Y {
				t.Fatalf("%v overlaps %v", a, b)
			}
		}
	}
}

// The lines' length times their distance is the area, also of an area with a
// bay, and all of them lie inside.
func TestHatching(t *testing.T) {
	bay := []vg.Point{{X: 10, Y: 20}, {X: 210, Y: 20}, {X: 210, Y: 150}, {X: 110, Y: 60}, {X: 10, Y: 150}}
	for _, angle := range []float64{math.Pi / 4, -math.Pi / 4, 0.2} {
		sum := 0.0
		for _, s := range Hatching(bay, 0.5, angle) {
			sum += Distance(s[0], s[1])
		}
		if want := math.Abs(Area(bay)); math.Abs(sum*0.5-want) > 0.005*want {
			t.Errorf("angle %.2f: %.0f, want %.0f", angle, sum*0.5, want)
		}
	}
	if got := Hatching(bay[:2], 4, 1); got != nil {
		t.Errorf("two points give %v", got)
	}
}

// A name beside a line takes another side if one is free, and crosses the line only
// if all are taken.
func TestNamesKeepOffLines(t *testing.T) {
	l := Labels{Region: vg.Rectangle{Max: vg.Point{X: 100, Y: 100}}}
	at := vg.Point{X: 50, Y: 50}
	l.AvoidAlong([]vg.Point{{X: 56, Y: 0}, {X: 56, Y: 100}})
	box, _, ok := l.near(at, 20, 8, 3)
	if !ok || meets(box, l.crossed) {
		t.Errorf("across the line at %v", box)
	}
	l.Take(vg.Point{}, vg.Point{X: 49, Y: 100}) // nothing is left on the left
	l.Take(vg.Point{Y: 55}, vg.Point{X: 100, Y: 100})
	l.Take(vg.Point{}, vg.Point{X: 100, Y: 41})
	if box, _, ok = l.near(at, 20, 8, 3); !ok || box.Min.X < 50 {
		t.Errorf("no place beside the line: %v, %v", box, ok)
	}
}
