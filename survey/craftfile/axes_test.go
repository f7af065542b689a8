package craftfile

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func TestAxesInTheFile(t *testing.T) {
	for value, want := range map[string]r3.Vec{
		`["-x", "-y", "+z"]`:                    {X: -1, Y: -2, Z: 3},
		`"-x,-y,+z"`:                            {X: -1, Y: -2, Z: 3},
		`[[-1, 0, 0], [0, -1, 0], [0, 0, 1.0]]`: {X: -1, Y: -2, Z: 3},
		`[[0, 1, 0], [-1, 0, 0], [0, 0, 1]]`:    {X: -2, Y: 1, Z: 3},
	} {
		c, err := Parse([]byte(small+"[probe]\naxes = "+value+"\n"), "")
		if err != nil {
			t.Errorf("%s: %v", value, err)
			continue
		}
		if got := c.MeasuringModule().Axes.Apply(r3.Vec{X: 1, Y: 2, Z: 3}); r3.Norm(r3.Sub(got, want)) > 1e-12 {
			t.Errorf("%s: %v, want %v", value, got, want)
		}
		if c.Module.Axes != nil {
			t.Errorf("the module took the axes of the probe")
		}
	}
	c, err := Parse([]byte(small+"[module]\naxes = [[1, 0, 0], [0, 1, 0], [0, 0, -1]]\n"), "")
	if err != nil || len(c.Remarks) != 1 || c.Remarks[0].Code != "craft.axes-mirrored" {
		t.Errorf("%v, %+v", err, c)
	}
}
