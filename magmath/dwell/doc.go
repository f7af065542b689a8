// Package dwell turns the samples of one capture into a field vector with its
// covariance.
//
// What comes in: a [Series], the times and vectors of a probe that rests at one
// place, or a [PulsedSeries], in which a load goes on and off meanwhile. Vectors
// are microtesla in any one frame. Times are seconds on the clock of the
// samples, which may stand still but never runs backwards.
//
// What goes out: [Locate] returns the robust mean of a dwell. [Timing] returns
// the operator's lag over the captures of a run, [Pulse] the on-minus-off vector
// of one of them, and [Moderate] their covariances judged over the whole run.
// [Changed] reports a change of the field within a dwell. [Rest] reports, sample
// by sample, whether the probe rests. Covariances are those of the mean (type A
// in the GUM, JCGM 100:2008); the caller adds pose, place and calibration.
//
// An error means that there is no answer; a warning travels with the answer.
// Time and memory are proportional to the number of samples, apart from sorting:
// three million take seconds and a few copies of themselves.
//
// Start reading at Locate in locate.go; longrun.go has the covariance under
// autocorrelation. The pulsed capture begins in pulsed.go with what comes in;
// timing.go says when the load was on, intervals.go cuts and measures the
// intervals, pulse.go combines them, moderate.go weighs their scatter.
package dwell
