package calib_test

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/calib"
)

// Readings along a spiral over the whole sphere, from a probe whose x axis
// reads 4 per cent high and whose zero is off. Invented numbers.
func ExampleCalibrate() {
	var samples []calib.Sample
	for i := range 400 {
		z := 1 - (2*float64(i)+1)/400
		rho, phi := math.Sqrt(1-z*z), 0.3*float64(i)
		ripple := 0.2 * math.Sin(2.7*float64(i)) // stands in for noise
		b := r3.Vec{X: 50 * 1.04 * rho * math.Cos(phi), Y: 50*rho*math.Sin(phi) + ripple, Z: 50 * z}
		samples = append(samples, calib.Sample{TS: float64(i) / 20, B: r3.Add(b, r3.Vec{X: 12, Y: -30, Z: 5})})
	}
	o := calib.DefaultOptions()
	o.ReferenceUT = 50
	r, err := calib.Calibrate(context.Background(), samples, o)
	if err != nil {
		fmt.Println(err)
	}
	fmt.Printf("accepted %v with %d parameters\n", r.Accepted, r.Parameters)
	fmt.Printf("offset %.1f uT, gain of x %.3f\n", r.OffsetUT, r.Matrix[0][0])
	// Output:
	// accepted true with 9 parameters
	// offset {12.0 -30.0 5.0} uT, gain of x 0.962
}
