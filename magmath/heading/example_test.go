package heading_test

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
)

// Two motors that pull the needle the same way, each known to 0.3 microtesla.
func ExampleSampler_WorstPosterior() {
	cov := magmath.Diagonal(0.09, 0.09, 0.09)
	loads := []heading.Load{
		{Mean: r3.Vec{X: 0.4, Y: 1}, Cov: cov},
		{Mean: r3.Vec{X: -0.4, Y: 1}, Cov: cov},
	}
	s := heading.NewSampler(len(loads))
	e, worst := s.WorstPosterior(loads, [][]int{{0}, {1}, {0, 1}}, heading.Mounting{HUT: 19})
	fmt.Printf("%.1f deg, under %.0f deg, with loads %v\n", e.Estimate, e.Upper95, worst)
	// Output: 6.2 deg, under 8 deg, with loads [0 1]
}
