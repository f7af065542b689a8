// Package sim is a simulated craft in a simulated room, with a module that
// prints lines, a hand that places it and an operator who follows the guide:
// to learn with, to demonstrate with and to test with. Everything random
// comes from a seed, and the same seed gives the same bytes.
//
// A Bench steps the world, the probe and the hand through time. Start at
// NewStream, which renders what a module would send, byte by byte, through the
// decoder of package link, with an Operator who answers the guide; Serve offers
// the same at a pseudo-terminal. Package trial makes whole surveys at once from
// the same World, Probe and Hand.
//
// Frames: craft frame of ISO 1151 unless said otherwise; millimetres,
// microtesla, seconds, amperes, degrees. Everything named here is invented.
package sim
