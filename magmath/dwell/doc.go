// Package dwell turns the samples of one capture into a field vector with an
// honest covariance: robust location, effective sample size, stillness,
// changes within the dwell, and the on-minus-off vector of a pulsed capture.
//
// Vectors are microtesla in any one frame, times are seconds on the clock of
// the samples, which may stand still but never run backwards. Covariances are
// those of the mean (type A in the words of the GUM, JCGM 100:2008); pose,
// place and calibration are for the caller to add.
//
// An error means that there is no answer; a warning travels with the answer.
// The package says nothing about what a probe at rest measures, only whether
// it rests and what it reads.
package dwell
