package swing

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/swing"
	"quietmount/survey/logbook"
)

// inducedUT is what the craft's iron, magnetised by the field, may add to a
// steady part that was surveyed in one direction only: one standard deviation a
// component. A calibration turns the craft all round, so that its offset holds
// the permanent part alone, and the map what one direction induces besides.
// One microtesla is 2 % of a field of 50: a module some centimetres from a pack
// or a motor. It does not grow with the iron of the craft at hand: beside much
// of it a promise may be called broken that holds, and the table then shows a
// difference of a few microtesla. Common practice, no source.
const inducedUT = 1.0

// Promise compares the steady part that the map predicted for the module's
// sensor with what a calibration of the finished craft found: the offset by
// which it differs from that of the loose module. axes turns sensor axes into
// the craft's; the covariances of both calibrations enter.
func Promise(onCraft, loose *logbook.Calibration, axes magmath.Mat3, predicted r3.Vec, cov magmath.Mat3) (swing.SteadyPromise, swing.Kept) {
	offset := func(c *logbook.Calibration) r3.Vec {
		return r3.Vec{X: c.OffsetUT[0], Y: c.OffsetUT[1], Z: c.OffsetUT[2]}
	}
	// A reading is the inverse of M times the field, plus the offset: M of the
	// loose module takes the module's own gains out of the difference.
	turn := axes.Mul(loose.Matrix)
	p := swing.SteadyPromise{
		Predicted: predicted, PredictedCov: cov, InducedUT: inducedUT,
		Found:    turn.Apply(r3.Sub(offset(onCraft), offset(loose))),
		FoundCov: offsetCov(onCraft).Add(offsetCov(loose)).Turn(turn),
	}
	return p, p.Compare()
}

// offsetCov is the covariance of the offset; where only standard uncertainties
// were stored, theirs.
func offsetCov(c *logbook.Calibration) magmath.Mat3 {
	var m magmath.Mat3
	for i := range 3 {
		for j := range 3 {
			m[i][j] = c.Covariance[i][j]
		}
	}
	if m == (magmath.Mat3{}) {
		s := c.OffsetStandard
		m = magmath.Diagonal(s[0]*s[0], s[1]*s[1], s[2]*s[2])
	}
	return m
}
