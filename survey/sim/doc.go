// Package sim is a simulated craft in a simulated room, with a module that
// prints lines, a hand that places it and an operator who follows the guide:
// to learn with, to demonstrate with and to test with. Everything random
// comes from a seed, and the same seed gives the same bytes.
//
// There are two ways to a run. Source renders what a module would send, byte
// by byte, through the decoder of package link, with an Operator who answers
// the guide; Captures fabricates the samples of a whole run at once, for
// simulations over hundreds of craft. Both take their fields from the same
// World, their readings from the same Probe and their poses from the same
// Hand.
//
// Frames: craft frame of ISO 1151 unless said otherwise; millimetres,
// microtesla, seconds, amperes, degrees. Everything named here is invented.
package sim
