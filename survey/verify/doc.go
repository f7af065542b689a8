// Package verify finds what does not hold together in a craft folder: files that
// cannot be read, captures that the evaluation cannot use, places and states that the
// craft file does not have, evidence that changed after the choice.
//
// Start at [Folder]. It returns problems, each a remark with its file and line; it
// changes nothing.
package verify
