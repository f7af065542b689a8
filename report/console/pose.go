package console

import (
	"encoding/json"
	"fmt"
	"io"

	"quietmount/report/words"
	"quietmount/survey/guide"
	"quietmount/survey/swing"
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

func poseLineOf(e guide.Event) goLine {
	l := goLine{
		Event: string(guide.Go), Station: e.Station.Name, Words: words.Terminal.Say(swing.Held(e.Station.Name)), Visit: string(e.Visit),
		Done: e.Progress.Done, Total: e.Progress.Total,
	}
	if h, err := swing.ParseHeading(e.Station.Name); err == nil {
		l.Heading = &h
	} else {
		l.Pose = e.Station.Name
	}
	return l
}

// PoseJSONFace shows an arrow check or a swing to a script as JSONFace does, with headings and
// poses in place of places.
func PoseJSONFace(w io.Writer, about walk.About) func(guide.Event) error {
	others := JSONFace(w, about)
	return func(e guide.Event) error {
		if e.Kind != guide.Go {
			return others(e)
		}
		b, err := json.Marshal(poseLineOf(e))
		if err != nil {
			return fmt.Errorf("event %s: %w", e.Kind, err)
		}
		_, err = w.Write(append(b, '\n'))
		return err
	}
}

// PoseTerminalFace shows an arrow check or a swing to a person.
func PoseTerminalFace(w io.Writer, about walk.About, o TerminalOptions) func(guide.Event) error {
	others := TerminalFace(w, about, o)
	return func(e guide.Event) error {
		if e.Kind != guide.Go {
			return others(e)
		}
		hands := "Hand away, Enter.  (redo, redo NAME, skip, goto NAME, note TEXT, stop)"
		if o.HandsFree {
			hands = "Hand away."
		}
		p := e.Progress
		_, err := fmt.Fprintf(w, "\n%s\n  %s\n  %d of %d done.  %s\n", banner(e.Station.Name), words.Terminal.Say(swing.Held(e.Station.Name)), p.Done, p.Total, hands)
		return err
	}
}
