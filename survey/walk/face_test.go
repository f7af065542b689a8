package walk

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"quietmount/survey"
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
		got, err := ParseCommand(tt.line)
		if got != tt.want || (err != nil) != tt.bad || tt.bad && !errors.Is(err, ErrCommand) {
			t.Errorf("ParseCommand(%q) = %+v, %v", tt.line, got, err)
		}
	}
}

func FuzzParseCommand(f *testing.F) {
	for _, s := range []string{"", "redo", "Redo B2", "goto B2", "note \xff", "stop now", "\x00", "note  two  spaces"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, line string) {
		c, err := ParseCommand(line)
		if err != nil {
			if !errors.Is(err, ErrCommand) {
				t.Fatalf("%q: %v is no ErrCommand", line, err)
			}
			return
		}
		printed := string(c.Kind)
		if c.Text != "" {
			printed += " " + c.Text
		}
		if again, err := ParseCommand(printed); err != nil || again != c {
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

func TestTerminalFaceOfAWholeRun(t *testing.T) {
	var plain, live bytes.Buffer
	bk := &book{}
	one := TerminalFace(&plain, About{Craft: "invented hull", State: "unpowered", File: "runs/0001.jsonl"}, TerminalOptions{})
	two := TerminalFace(&live, About{}, TerminalOptions{Live: true, Bell: true})
	cfg, _ := set(t, guide.Config{}, newBench(), bk, func(e guide.Event) error {
		return errors.Join(one(e), two(e))
	})
	if sum, err := Run(t.Context(), cfg); err != nil || !sum.Finished {
		t.Fatalf("%+v, %v", sum, err)
	}
	text := plain.String()
	if strings.ContainsAny(text, "\a\r\x1b") {
		t.Error("control characters on a plain pipe")
	}
	if got, want := strings.Count(text, "Saved "), len(bk.captures); got != want {
		t.Errorf("%d times saved, %d captures", got, want)
	}
	for _, c := range bk.captures {
		if !strings.Contains(text, Banner(c.Station)) {
			t.Errorf("%s was not announced large", c.Station)
		}
	}
	if !strings.Contains(text, "runs/0001.jsonl") {
		t.Error("the file is not named at the end")
	}
	if got := strings.Count(live.String(), "\a"); got != len(bk.captures) {
		t.Errorf("%d tones for %d captures", got, len(bk.captures))
	}
	if !strings.Contains(live.String(), "at rest [") || strings.Contains(live.String(), "\x1b") {
		t.Error("the live line is missing or uses escape sequences")
	}
}

func TestTerminalFaceShowsTheRest(t *testing.T) {
	var out bytes.Buffer
	face := TerminalFace(&out, About{}, TerminalOptions{HandsFree: true})
	for _, e := range []guide.Event{
		{Kind: guide.Checklist, Items: []string{"Propellers are off.", "Tied down."}},
		{Kind: guide.Rejected, Station: survey.Station{Name: "B2"}, Why: "it shook"},
		{Kind: guide.Switch, On: true},
		{Kind: guide.Warning, Why: "the arrow seems backwards"},
		{Kind: guide.Paused, Why: "the link is gone"},
	} {
		if err := face(e); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"Propellers are off.", "2 items to go", "B2: it shook", "L O A D   O N", "seems backwards", "link is gone"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in\n%s", want, out.String())
		}
	}
	broken := TerminalFace(brokenWriter{}, About{}, TerminalOptions{})
	if broken(guide.Event{Kind: guide.Warning, Why: "x"}) == nil {
		t.Error("a write error is not passed on")
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("broken pipe") }
