// Package swing holds the two checks of a finished craft: the arrow check,
// before the glue, and the swing, after it. It reads their captures from CSV or
// from the folder, lays out the walk through their poses or headings, and turns
// captures into the numbers that magmath/heading works on.
//
// Headings and poses are degrees clockwise seen from above. A mark is what a
// turntable shows; what magnetic direction mark 0 has is the reference's
// business.
package swing
