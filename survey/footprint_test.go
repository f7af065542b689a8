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
