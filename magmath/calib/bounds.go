package calib

import "math"

// CellBounds are the edges of a cell: z of the unit sphere from the upper to the
// lower one, and the azimuth from x towards y in radians. It panics if there is
// no such cell.
func CellBounds(cell int) (zUp, zLow, from, to float64) {
	first := 0
	for _, count := range bands {
		if cell >= 0 && cell < first+count {
			step := 2 * math.Pi / float64(count)
			from = step * float64(cell-first)
			return 1 - 2*float64(first)/Cells, 1 - 2*float64(first+count)/Cells, from, from + step
		}
		first += count
	}
	panic("calib: no such cell")
}
