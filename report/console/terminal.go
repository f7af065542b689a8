// Package console shows a walk, an arrow check or a swing on a terminal, and as
// JSON lines for a script. In come the events of the guide; out goes text. Start
// at TerminalFace and JSONFace.
package console

import (
	"fmt"
	"io"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/walk"
)

// TerminalOptions say what the terminal can do.
type TerminalOptions struct {
	Live      bool // a status line may be written over itself: a terminal, not a pipe
	Bell      bool // a tone says 'saved'
	HandsFree bool // captures start by themselves
}

// terminal shows a walk to a person.
type terminal struct {
	w     io.Writer
	about walk.About
	o     TerminalOptions
	wide  int // characters of the status line on the screen
	err   error
}

// TerminalFace shows a walk to a person: plain text, no colour, the name of
// the next station large, a tone when a capture is saved.
func TerminalFace(w io.Writer, about walk.About, o TerminalOptions) func(guide.Event) error {
	t := &terminal{w: w, about: about, o: o}
	return func(e guide.Event) error {
		t.show(e)
		return t.err
	}
}

// printf writes below the status line, if there is one.
func (t *terminal) printf(format string, a ...any) {
	t.clear()
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, format, a...)
	}
}

// clear takes the status line away.
func (t *terminal) clear() {
	if t.wide > 0 && t.err == nil {
		_, t.err = fmt.Fprintf(t.w, "\r%s\r", strings.Repeat(" ", t.wide))
	}
	t.wide = 0
}

// status writes over the status line.
func (t *terminal) status(text string) {
	if !t.o.Live || t.err != nil {
		return
	}
	_, t.err = fmt.Fprintf(t.w, "\r%-*s", t.wide, text)
	t.wide = len([]rune(text))
}

func (t *terminal) show(e guide.Event) {
	switch e.Kind {
	case guide.Checklist:
		t.printf("\n  [ ] %s\n      Enter: yes.  stop: not now.  (%s to go)\n", words.Terminal.Say(e.Items[0]), say.Counted(len(e.Items), "item"))
	case guide.Ready:
		t.printf("\n%s, %s: %s planned, about %s.\n", t.about.Craft, t.about.State, say.Counted(e.Progress.Total, "visit"), duration(e.Progress.SecondsLeft))
	case guide.Go:
		t.ask(e)
	case guide.Moving:
		t.status(t.reading("moving", e))
	case guide.Resting:
		t.status(t.reading(fmt.Sprintf("at rest %s", bar(e.Progress.DwellFrac)), e))
	case guide.Switch:
		t.printf("\n%s\n", banner("LOAD "+onOff(e.On)))
	case guide.Captured:
		t.saved(e)
	case guide.Rejected:
		t.printf("\n  Not taken at %s: %s.\n", e.Station.Name, words.Terminal.Say(e.Why))
	case guide.Skipped:
		t.printf("\n  %s left out.\n", e.Station.Name)
	case guide.Voided:
		t.printf("\n  Capture %d at %s does not count any more.\n", e.Capture.Number, e.Station.Name)
	case guide.Noted:
		t.printf("\n  Noted.\n")
	case guide.Warning:
		t.printf("\n  Look: %s.\n", words.Terminal.Say(e.Why))
	case guide.Paused, guide.Resumed:
		t.printf("\n  %s.\n", words.Terminal.Say(e.Why))
	case guide.Done:
		t.printf("\nDone: %s in %s.\n%s.\n", say.Counted(e.Captures, "capture"), t.about.File, words.Terminal.Say(e.Why))
	}
}

// ask announces a station.
func (t *terminal) ask(e guide.Event) {
	why := map[logbook.Visit]string{
		logbook.VisitBase:   "the base station",
		logbook.VisitRepeat: "once more, as if for the first time",
		logbook.VisitRedo:   "again",
	}[e.Visit]
	at := e.Station.At
	t.printf("\n%s\n  x %.0f  y %.0f  z %.0f mm  %s\n", banner(e.Station.Name), at.X, at.Y, at.Z, why)
	p := e.Progress
	t.printf("  %d of %d done, about %s left.  ", p.Done, p.Total, duration(p.SecondsLeft))
	if t.o.HandsFree {
		t.printf("Set the probe down, arrow to the nose, hand away.\n")
	} else {
		t.printf("Arrow to the nose, hand away, Enter.  (redo, redo NAME, skip, goto NAME, note TEXT, pause, stop)\n")
	}
}

func (t *terminal) saved(e guide.Event) {
	bell := ""
	if t.o.Bell {
		bell = "\a"
	}
	c := e.Capture
	t.printf("%s\n  Saved %s: capture %d, |B| %.2f uT, +- %.2f uT from %d readings", bell, c.Station, c.Number, r3.Norm(c.BUT), c.UncertaintyUT, len(c.Samples))
	if e.Difference != nil {
		t.printf(", load on makes %.2f uT", r3.Norm(*e.Difference))
	}
	t.printf(".\n")
}

// reading returns the status line: how the probe is, and the field there.
func (t *terminal) reading(how string, e guide.Event) string {
	text := fmt.Sprintf("  %-6s %s  |B| %7.2f uT", e.Station.Name, how, r3.Norm(e.B))
	if e.FromBase != nil {
		text += fmt.Sprintf("  from base %+.1f %+.1f %+.1f", e.FromBase.X, e.FromBase.Y, e.FromBase.Z)
	}
	return text
}

func bar(frac float64) string {
	n := int(math.Round(10 * min(1, max(0, frac))))
	return "[" + strings.Repeat("#", n) + strings.Repeat(".", 10-n) + "]"
}

func onOff(on bool) string {
	if on {
		return "ON"
	}
	return "OFF"
}

func duration(seconds float64) string {
	if seconds < 90 {
		return fmt.Sprintf("%.0f s", seconds)
	}
	return fmt.Sprintf("%.0f minutes", seconds/60)
}
