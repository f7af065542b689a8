// Package calib calibrates a three-axis magnetometer from readings taken while
// it is turned in an undisturbed field, and says how far the result can be
// trusted.
//
// The model is corrected = M (raw - o): o is the offset (hard iron) in
// microtesla, M a symmetric positive definite matrix (gains, cross terms and
// soft iron); both are in sensor axes. The length of a field does not tell a
// rotation, so M has none: how the sensor sits in its case is another matter.
//
// The noise lives in the raw readings. With y = M (raw - o) and u = y/|y| the
// residual of a reading is e = (|y| - F) / |M u|, to first order its distance
// from the ellipsoid in raw space. Without the denominator a fit to readings
// from a part of the sphere can shrink the residuals by shrinking M, and does.
//
// How many parameters are fitted is decided by the error that the corrected
// field will have at the attitudes the craft flies: variance plus the squared
// bias of what is left out, under a stated prior. A calibration that the
// readings cannot support is refused with a reason and a remedy; what is worth
// knowing but no obstacle is a remark.
//
// The package is pure: no files, no clock, no randomness.
package calib
