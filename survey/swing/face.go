package swing

import (
	"encoding/json"
	"fmt"
	"io"

	"quietmount/magmath/arrow"
	"quietmount/survey/guide"
	"quietmount/survey/walk"
)

// goLine is the line of a script's stop.
type goLine struct {
	Event   string   `json:"event"`
	Station string   `json:"station"`
	Heading *float64 `json:"heading_deg,omitempty"`
	Pose    string   `json:"pose,omitempty"`
	Words   string   `json:"words"`
	Visit   string   `json:"visit"`
	Done    int      `json:"visits_done"`
	Total   int      `json:"visits_planned"`
}

func lineOf(e guide.Event) goLine {
	l := goLine{
		Event: string(guide.Go), Station: e.Station.Name, Words: Words(e.Station.Name), Visit: string(e.Visit),
		Done: e.Progress.Done, Total: e.Progress.Total,
	}
	if h, err := ParseHeading(e.Station.Name); err == nil {
		l.Heading = &h
	} else {
		l.Pose = e.Station.Name
	}
	return l
}

// Words say how to lay the craft at a stop.
func Words(name string) string {
	if _, err := ParseHeading(name); err == nil {
		return "level, nose on mark " + name
	}
	return arrow.PoseName(name).Words()
}

// JSONFace shows the walk to a script as walk.JSONFace does, with headings and
// poses in place of places.
func JSONFace(w io.Writer, about walk.About) func(guide.Event) error {
	others := walk.JSONFace(w, about)
	return func(e guide.Event) error {
		if e.Kind != guide.Go {
			return others(e)
		}
		b, err := json.Marshal(lineOf(e))
		if err != nil {
			return fmt.Errorf("event %s: %w", e.Kind, err)
		}
		_, err = w.Write(append(b, '\n'))
		return err
	}
}

// TerminalFace shows the walk to a person.
func TerminalFace(w io.Writer, about walk.About, o walk.TerminalOptions) func(guide.Event) error {
	others := walk.TerminalFace(w, about, o)
	return func(e guide.Event) error {
		if e.Kind != guide.Go {
			return others(e)
		}
		hands := "Hand away, Enter.  (redo, redo NAME, skip, goto NAME, note TEXT, stop)"
		if o.HandsFree {
			hands = "Hand away."
		}
		p := e.Progress
		_, err := fmt.Fprintf(w, "\n%s\n  %s\n  %d of %d done.  %s\n", walk.Banner(e.Station.Name), Words(e.Station.Name), p.Done, p.Total, hands)
		return err
	}
}
