package geomag_test

import (
	"fmt"

	"quietmount/magmath/geomag"
)

// The field at an invented place off a coast, on the first day of June 2026.
func ExampleModel_At() {
	year, err := geomag.ParseDate("2026-06-01")
	if err != nil {
		fmt.Println(err)
		return
	}
	e := geomag.WMM2025().At(geomag.Place{LatitudeDeg: 53.3, LongitudeDeg: -9.1, AltitudeM: 2}, year)
	u := geomag.Uncertainty(e)
	fmt.Printf("H %.0f nT (%.0f), D %.1f deg (%.1f), %s\n", e.H, u.H, e.D, u.D, geomag.ZoneOf(e.H))
	// Output: H 18783 nT (133), D -2.3 deg (0.4), ok
}
