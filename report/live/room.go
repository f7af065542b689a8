package live

import (
	"context"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
)

// roomView is what the room panel shows.
type roomView struct {
	Room    *answer.Room `json:"room"` // nil: no background was measured
	Rooms   []roomSetup  `json:"set_ups"`
	Drift   []driftView  `json:"drift"`
	Minutes float64      `json:"minutes"` // that a background takes
	Begun   bool         `json:"begun"`   // one was begun and not finished

	Progress computing `json:"progress"`
}

// roomSetup is a session with the nose in one direction.
type roomSetup struct {
	Session     string      `json:"session"`
	NoseDeg     *float64    `json:"nose_deg"`
	Backgrounds int         `json:"background_captures"`
	FieldUT     *[3]float64 `json:"field_ut"`
}

// driftView is the drift of one run.
type driftView struct {
	Run      int      `json:"run"`
	State    string   `json:"state"`
	Minutes  float64  `json:"minutes"`
	ReturnUT *float64 `json:"base_change_ut"` // last base capture less the first; null without returns
	ChanceUT *float64 `json:"expected_ut"`    // from pose and noise alone
	LargeUT  float64  `json:"largest_ut"`     // of the estimated drift, from its start
	Line     string   `json:"line"`           // of the drawing, 120 by 30
}

func roomData(a asked) (any, error) {
	at, err := a.Job()
	if err != nil {
		return nil, err
	}
	v := &roomView{Rooms: []roomSetup{}, Drift: []driftView{}}
	kept, progress, err := computed(a, soon, "room", func(ctx context.Context) (*roomView, error) {
		found, err := a.findings(ctx)
		if err != nil {
			return nil, err
		}
		checks, err := a.checks(ctx, found)
		if err != nil {
			return nil, err
		}
		return newRoom(found, checks), nil
	})
	if err != nil && a.unmeasured(err) == "" {
		return nil, err
	}
	if kept != nil {
		v = new(*kept)
	}
	v.Progress = progress
	for _, s := range at.Steps {
		if s.State == survey.StateBackground {
			v.Minutes, v.Begun = s.Minutes, s.Begun
		}
	}
	return v, nil
}

func newRoom(found *evaluate.Findings, checks []gate.Check) *roomView {
	v := &roomView{Rooms: []roomSetup{}, Drift: []driftView{}}
	if bench, ok := found.Bench(); ok {
		v.Room = new(answer.NewRoom(words.Page, found, bench, checks))
	}
	for _, r := range found.Rooms {
		s := roomSetup{Session: r.Session, NoseDeg: r.NoseDeg, Backgrounds: r.Backgrounds}
		if r.FieldUT != nil {
			s.FieldUT = new(vec(*r.FieldUT))
		}
		v.Rooms = append(v.Rooms, s)
	}
	states := map[int]string{}
	for _, r := range found.Runs {
		states[r.Header.Run] = r.Header.State
	}
	for _, d := range found.Drift {
		if len(d.TS) > 1 {
			v.Drift = append(v.Drift, newDrift(d, states[d.Run]))
		}
	}
	return v
}

func newDrift(d evaluate.DriftCurve, state string) driftView {
	last := len(d.TS) - 1
	v := driftView{Run: d.Run, State: state, Minutes: (d.TS[last] - d.TS[0]) / 60}
	for _, b := range d.B {
		v.LargeUT = max(v.LargeUT, r3.Norm(r3.Sub(b, d.B[0])))
	}
	if d.Return != nil {
		v.ReturnUT = new(r3.Norm(d.Return.ChangeUT))
		v.ChanceUT = new(math.Sqrt(3) * d.Return.SDUT)
	}
	v.Line = driftLine(d, max(v.LargeUT, 1))
	return v
}

// driftLine returns the points of the drift's magnitude since its start against
// time. scale, in microtesla, is the value at the top: at least 1, so that noise
// stays small.
func driftLine(d evaluate.DriftCurve, scale float64) string {
	const wide, high = 120, 30
	last := len(d.TS) - 1
	span := max(d.TS[last]-d.TS[0], 1e-9)
	var parts []string
	for i, t := range d.TS {
		x := wide * (t - d.TS[0]) / span
		y := high - (high-2)*r3.Norm(r3.Sub(d.B[i], d.B[0]))/scale - 1
		parts = append(parts, fmt.Sprintf("%.1f,%.1f", x, y))
	}
	return strings.Join(parts, " ")
}
