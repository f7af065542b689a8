package survey

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

func TestFootprint(t *testing.T) {
	m := Module{FootprintMM: r2.Vec{X: 40, Y: 20}}
	if b := m.Footprint(r2.Vec{X: 5, Y: -5}); b != r2.NewBox(-15, -15, 25, 5) {
		t.Errorf("footprint %v", b)
	}
}

// The places were checked by hand: a 38 mm case on the catamaran.
func TestObstacles(t *testing.T) {
	c := sandpiper(t)
	for _, test := range []struct {
		at   r2.Vec
		want []Obstacle
	}{
		{r2.Vec{X: -200, Y: 100}, nil},
		{r2.Vec{X: 331, Y: 161}, nil}, // 19 mm from both edges
		{r2.Vec{X: 332, Y: 161}, []Obstacle{{ObstacleOutline, ""}}},
		{r2.Vec{X: 60, Y: 0}, []Obstacle{{ObstacleKeepout, "hatch"}, {ObstacleClearance, "battery"}}},
		{r2.Vec{X: 60, Y: 69}, nil}, // touches the hatch, 50 mm from the battery
		{r2.Vec{X: 60, Y: 68}, []Obstacle{{ObstacleKeepout, "hatch"}}},
		{r2.Vec{X: 0, Y: 0}, nil}, // the edge at x = 19, the hatch from 20 on, the battery at 60
	} {
		got := c.Obstacles(test.at)
		if len(got) != len(test.want) {
			t.Errorf("%v: %v, want %v", test.at, got, test.want)
			continue
		}
		for i := range got {
			if got[i] != test.want[i] {
				t.Errorf("%v: %v, want %v", test.at, got, test.want)
			}
		}
	}
	c.Parts[2].ClearanceMM = 30
	if got := c.Obstacles(r2.Vec{X: -110, Y: -60}); len(got) != 1 || got[0] != (Obstacle{ObstacleClearance, "left lead"}) {
		t.Errorf("on the lead: %v", got)
	}
}
