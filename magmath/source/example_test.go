package source_test

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
)

// A hatch magnet that the craft file names, measured on a plate of stations
// 50 mm apart with 0.2 uT of noise a component.
func ExampleFind() {
	truth := source.Dipole{AtMM: r3.Vec{X: 23, Y: -14, Z: 35}, MomentAm2: r3.Vec{Z: 0.08}}
	var d magmath.Readings
	for x := -100.0; x <= 100; x += 50 {
		for y := -100.0; y <= 100; y += 50 {
			p := r3.Vec{X: x, Y: y}
			d.At, d.B = append(d.At, p), append(d.B, truth.Field(p))
		}
	}
	d.Noise = mat.NewSymDense(3*len(d.At), nil)
	for i := range 3 * len(d.At) {
		d.Noise.SetSym(i, i, 0.2*0.2)
	}
	hatch := source.Magnet{Name: "hatch magnet", AtMM: r3.Vec{X: 25, Y: -10, Z: 40}}
	found, err := source.Find(context.Background(), d, []source.Magnet{hatch}, nil, source.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range found.Sources {
		fmt.Printf("%s at %.0f mm, %.3f A m2; keep a compass %.0f mm away\n",
			s.Name, s.AtMM, r3.Norm(s.MomentAm2), s.SafeDistance(source.StandardLimitUT))
	}
	// Output: hatch magnet at {23 -14 35} mm, 0.080 A m2; keep a compass 554 mm away
}
