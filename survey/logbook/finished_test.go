package logbook

import "testing"

func TestFinishedTellsStoppedFromComplete(t *testing.T) {
	for _, tt := range []struct {
		name     string
		imported bool
		notes    []Note
		want     bool
	}{
		{"nothing said", false, nil, false},
		{"complete", false, []Note{{Kind: NoteEnd, Text: "finished: every station was visited"}}, true},
		{"stopped", false, []Note{{Kind: NoteEnd, Text: "stopped: by the operator"}}, false},
		{"taken up again and broken off", false, []Note{{Kind: NoteEnd, Text: "finished"}, {Kind: NoteResumed}}, false},
		{"a note after the end", false, []Note{{Kind: NoteEnd, Text: "finished"}, {Kind: NoteText, Text: "x"}}, true},
		{"imported", true, nil, true},
	} {
		r := Run{Header: Header{Imported: tt.imported}, Notes: tt.notes}
		if got := r.Finished(); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}
