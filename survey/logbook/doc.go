// Package logbook keeps what was measured on disk: runs, swings, calibrations and
// the chosen spot of a craft folder, and the lock that lets one process write.
//
// A run file is JSON Lines, append-only: a [Header], then captures, voids and notes.
// A capture is on the disk before [RunWriter.Append] returns. Nothing is rewritten; a
// torn last line is left out with a warning in Run.Warnings, and damage elsewhere is a
// *[RunError] with file and line. Unknown keys are passed over, a newer format is
// refused.
//
// Start at [OpenFolder] to read a folder, [CreateRun] and [ResumeRun] to write. read.go
// and write.go hold the lines in order, wire.go and samples.go their JSON.
package logbook
