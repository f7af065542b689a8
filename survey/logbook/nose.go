package logbook

import "math"

// sameNoseDeg is how far two directions may differ and still count as one: a
// turn of 5 degrees changes a horizontal field of 20 uT by under 2 uT, which
// the runs' offsets can take up.
const sameNoseDeg = 5

// NosesDiffer reports whether two directions of the nose, degrees, are both
// known and differ by more than the offset of a run can absorb. The check of a
// folder, the resumption of a run and the evaluation all ask it.
func NosesDiffer(a, b *float64) bool {
	return a != nil && b != nil && math.Abs(math.Remainder(*a-*b, 360)) > sameNoseDeg
}
