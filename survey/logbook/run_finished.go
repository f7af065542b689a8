package logbook

import "strings"

// stoppedWord begins the end note of a run that the operator stopped.
const stoppedWord = "stopped"

// Finished says that a run came to its end; one that was stopped, or just broke
// off, can be taken up again. An imported run ends where its file did.
func (r *Run) Finished() bool {
	if r.Header.Imported {
		return true
	}
	for i := len(r.Notes) - 1; i >= 0; i-- {
		switch r.Notes[i].Kind {
		case NoteEnd:
			return !strings.HasPrefix(r.Notes[i].Text, stoppedWord)
		case NoteResumed:
			return false
		}
	}
	return false
}
