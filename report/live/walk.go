package live

import (
	"context"
	"encoding/json"

	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/progress"
	"quietmount/survey/walk"
)

// walkView is what the walk panel shows while no run is under way.
type walkView struct {
	Walking      bool        `json:"walking"`
	States       []stateView `json:"states"`
	Calibrations []string    `json:"calibrations"`
	Plan         *craftPlan  `json:"plan"`
	Connected    bool        `json:"connected"`
}

// stateView is a state that can be measured.
type stateView struct {
	Name     string  `json:"name"`
	Load     bool    `json:"load"`
	Current  bool    `json:"current"` // the load has a current
	MaxA     float64 `json:"max_current_a"`
	Done     bool    `json:"done"`
	Begun    bool    `json:"begun"` // a run was begun and not finished: it can be resumed
	Detail   string  `json:"detail"`
	Minutes  float64 `json:"minutes"`
	Most     int     `json:"most"`     // stations proposed; 0: all
	Proposed bool    `json:"proposed"` // the next one to walk
}

func walkData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	v := walkView{Walking: a.work.Busy(), Plan: newPlan(f.Craft), Connected: a.work.Probe.State().Connected}
	if v.Calibrations, err = logbook.CalibrationIDs(a.Dir); err != nil {
		return nil, err
	}
	at, err := a.Job()
	if err != nil {
		return nil, err
	}
	proposed := false
	for _, s := range at.Steps {
		if s.Kind != progress.Walk {
			continue
		}
		w := stateView{Name: s.State, Done: s.Done, Begun: s.Begun, Detail: words.Page.Say(s.Detail), Minutes: s.Minutes, Most: s.Most}
		if l, ok := f.Craft.LoadByName(s.State); ok {
			w.Load, w.Current, w.MaxA = true, l.Kind == survey.LoadCurrent, l.MaxCurrentA
		}
		w.Proposed = !proposed && !s.Done
		proposed = proposed || w.Proposed
		v.States = append(v.States, w)
	}
	return v, nil
}

// walkSetup reads the form that begins a run.
func walkSetup(a asked) (walk.Setup, error) {
	var none walk.Setup
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return none, err
	}
	in := serve.Fields{Form: a.Form}
	s := walk.Setup{
		Folder: f, Rules: guide.DefaultRules(), Rhythm: logbook.DefaultRhythm(), Tool: a.Tool, Now: a.Now(),
		Pulsed: in.On("pulsed"), Substitute: in.On("substitute"), HandsFree: in.On("hands_free"), Resume: in.On("resume"), Full: in.On("full"),
		State: in.Pick("state", f.Craft.States()...), CurrentA: in.Number("current_a", 0.001, 1000), NoseDeg: in.Number("nose_deg", 0, 360),
		Session: in.Text("session", 80), Most: in.Int("most", 0, 0, 10_000),
	}
	if dwell := in.Number("dwell_s", 1, 60); dwell != nil {
		s.Rules.DwellS, s.Rules.MaxDwellS = *dwell, max(s.Rules.MaxDwellS, 2**dwell)
	}
	s.Rhythm.Pulses = in.Int("pulses", s.Rhythm.Pulses, s.Rules.MinPulses, 100)
	if on := in.Number("on_s", 2*s.Rhythm.DropS+0.1, 120); on != nil {
		s.Rhythm.OnS, s.Rhythm.OffS = *on, *on
	}
	if in.Err != nil {
		return none, in.Err
	}
	if s.Resume { // the run keeps its own rhythm and stations
		s.Rhythm, s.Most = logbook.Rhythm{}, 0
	}
	if s.Calibration, s.Correction, err = calibrationAsked(a); err != nil {
		return none, err
	}
	if _, err := s.Plan(); err != nil {
		return none, serve.BadField("state", "%v", err)
	}
	return s, nil
}

func walkBegin(a asked) (any, error) {
	s, err := walkSetup(a)
	if err != nil {
		return nil, err
	}
	return serve.Done{}, a.work.Walk(s)
}

// walkCommand passes on the operator's command.
func walkCommand(a asked) (any, error) {
	kind, err := commandAsked(a, guide.CmdGoto, guide.CmdNote)
	if err != nil {
		return nil, err
	}
	text, err := a.Form.Text("text", 500)
	if err != nil {
		return nil, err
	}
	if text == "" && (kind == guide.CmdGoto || kind == guide.CmdNote) {
		return nil, serve.BadField("text", "%s", a.Words("walk.empty"))
	}
	return command(a, guide.Command{Kind: kind, Text: text}, "walk.none")
}

// walkMap answers with the map from the runs so far, including the one under way:
// of the steady part during an unpowered walk, otherwise of the load. Hatching
// shows where it is uncertain.
func walkMap(a asked) (serve.File, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return serve.File{}, err
	}
	part, err := a.Form.Pick("state", f.Craft.States()...)
	if err != nil {
		return serve.File{}, err
	}
	if part == survey.StateUnpowered {
		part = picture.PartSteady
	}
	drawn, _, err := computed(a, fully, "walkmap "+part, func(ctx context.Context) ([]byte, error) {
		found, err := a.findings(ctx)
		if err != nil {
			return nil, err
		}
		p, err := picture.Map(ctx, found, nil, picture.MapOptions{Part: part})
		if err != nil {
			return nil, err
		}
		return svg(p)
	})
	var answer struct {
		SVG string `json:"svg"`
		Why string `json:"why"` // there is no map yet
	}
	if answer.SVG = string(drawn); err != nil {
		answer.Why = err.Error()
	}
	body, err := json.Marshal(answer)
	return serve.File{Type: "application/json", Body: body}, err
}
