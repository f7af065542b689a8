// Package fieldmap interpolates a magnetic vector field measured at stations: a
// Gaussian process with a choice of covariances, hyperparameters by marginal
// likelihood, full noise covariances between components and stations, and a
// leave-one-out check of itself. It predicts at any place, with larger
// uncertainty farther from the stations; the caller decides which places are
// sensible.
//
// The field's prior mean is zero: a disturbance decays away from the craft.
// Frame: the craft's, z down; millimetres and microtesla.
//
// Source: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine
// Learning (2006): eq. 2.25 and 2.26 (prediction), 5.8 and 5.9 (marginal
// likelihood and gradient), 5.12 (leave-one-out, here by blocks of three).
package fieldmap
