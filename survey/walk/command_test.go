package walk

import (
	"errors"
	"strings"
	"testing"

	"quietmount/survey/guide"
)

func TestParseCommand(t *testing.T) {
	for _, tt := range []struct {
		line string
		want guide.Command
		bad  bool
	}{
		{"", guide.Command{Kind: guide.CmdCapture}, false},
		{" \r", guide.Command{Kind: guide.CmdCapture}, false},
		{"redo", guide.Command{Kind: guide.CmdRedo}, false},
		{"redo B3", guide.Command{Kind: guide.CmdRedo, Text: "B3"}, false},
		{"SKIP\r", guide.Command{Kind: guide.CmdSkip}, false},
		{"goto  B 2 ", guide.Command{Kind: guide.CmdGoto, Text: "B 2"}, false},
		{"note Hatch rattles, a bit", guide.Command{Kind: guide.CmdNote, Text: "Hatch rattles, a bit"}, false},
		{"stop", guide.Command{Kind: guide.CmdStop}, false},
		{"goto", guide.Command{}, true},
		{"note ", guide.Command{}, true},
		{"stop now", guide.Command{}, true},
		{"leave", guide.Command{}, true},
	} {
		got, err := parseCommand(tt.line)
		if got != tt.want || (err != nil) != tt.bad || tt.bad && !errors.Is(err, errCommand) {
			t.Errorf("ParseCommand(%q) = %+v, %v", tt.line, got, err)
		}
	}
}

func FuzzParseCommand(f *testing.F) {
	for _, s := range []string{"", "redo", "Redo B2", "goto B2", "note \xff", "stop now", "\x00", "note  two  spaces"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, line string) {
		c, err := parseCommand(line)
		if err != nil {
			if !errors.Is(err, errCommand) {
				t.Fatalf("%q: %v is no errCommand", line, err)
			}
			return
		}
		printed := string(c.Kind)
		if c.Text != "" {
			printed += " " + c.Text
		}
		if again, err := parseCommand(printed); err != nil || again != c {
			t.Fatalf("%q: %+v printed as %q comes back as %+v, %v", line, c, printed, again, err)
		}
	})
}

func TestReadCommandsPassesUnknownLinesOn(t *testing.T) {
	to := make(chan guide.Command, 10)
	ReadCommands(strings.NewReader("\nfly away\ngoto\nstop"), to, nil)
	var got []guide.Command
	for c := range to {
		got = append(got, c)
	}
	want := []guide.Command{{Kind: guide.CmdCapture}, {Kind: "fly away"}, {Kind: guide.CmdGoto}, {Kind: guide.CmdStop}}
	if len(got) != len(want) {
		t.Fatalf("got %+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("command %d is %+v, want %+v", i, got[i], want[i])
		}
	}
}
