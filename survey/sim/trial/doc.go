// Package trial makes whole simulated surveys for the tests of what is computed
// from them: no program uses it.
//
// [Random] draws a craft of one of four families with its hidden sources, its
// craft file, the hand and the current of the bench; [Trial.Rough] builds the same
// craft as hands do. [Captures] makes the samples of one run at once and [Folder]
// the runs of a whole survey, from the same world, probe and hand as package sim
// steps through in time. Everything random comes from a seed.
//
// Frames and units are those of package sim. Start at Random.
package trial
