package live

import (
	"errors"

	"quietmount/report/live/conduct"
	"quietmount/report/live/serve"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

// What the panels that begin guided work have in common.

// command passes a command on to the guided work under way. none is the key of
// the answer where nothing is.
func command(a asked, c guide.Command, none string) (any, error) {
	err := a.work.Command(a.Ctx, c)
	if errors.Is(err, conduct.ErrIdle) {
		err = errors.New(a.Words(none))
	}
	return serve.Done{}, err
}

// commandAsked returns the command that a form names: one that all guided work
// takes, or one of more.
func commandAsked(a asked, more ...guide.CommandKind) (guide.CommandKind, error) {
	var known []string
	for _, kind := range append(more, guide.CmdCapture, guide.CmdRedo, guide.CmdSkip, guide.CmdStop, guide.CmdConfirm, guide.CmdPause, guide.CmdGoOn) {
		known = append(known, string(kind))
	}
	kind, err := a.Form.Pick("kind", known...)
	return guide.CommandKind(kind), err
}

// calibrationAsked returns the stored calibration that a form names; an empty id
// and no correction where it names none.
func calibrationAsked(a asked) (id string, c *survey.Correction, err error) {
	if !a.Form.Has("calibration") {
		return "", nil, nil
	}
	ids, err := logbook.CalibrationIDs(a.Dir)
	if err != nil {
		return "", nil, err
	}
	if id, err = a.Form.Pick("calibration", ids...); err != nil {
		return "", nil, err
	}
	c, err = logbook.LoadCorrection(a.Dir, id)
	return id, c, err
}

// poseSetup reads what the forms of an arrow check and a swing have in common.
func poseSetup(a asked) (swing.Setup, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return swing.Setup{}, err
	}
	s := swing.Setup{Folder: f, Unit: f.Craft.Module, HandsFree: a.Form.On("hands_free")}
	if s.Header.Calibration, s.Correction, err = calibrationAsked(a); err != nil {
		return swing.Setup{}, err
	}
	s.Header.Calibrated = a.Form.On("calibrated") || s.Correction != nil
	dwell, err := a.Form.Number("dwell_s", 1, 60)
	if dwell != nil {
		s.DwellS = *dwell
	}
	return s, err
}

// poseResume resumes the newest check of a kind, which was stopped early.
func poseResume(a asked, what string) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	newest, err := swing.Newest(a.Dir, what, 0)
	if err != nil {
		return nil, err
	}
	if newest == nil || newest.Finished() {
		return nil, errors.New(a.Words("pose.nothing_early"))
	}
	early, err := logbook.UnfinishedSwing(a.Dir, what)
	if err != nil {
		return nil, err
	}
	s := swing.Setup{Folder: f, Unit: f.Craft.Module, Resume: true, HandsFree: a.Form.On("hands_free")}
	s.Header.What, s.Header.State = what, early.Swing.State
	return serve.Done{}, a.work.Pose(s, early)
}

// poseCommand passes on the operator's command to an arrow check or a swing.
func poseCommand(a asked) (any, error) {
	kind, err := commandAsked(a)
	if err != nil {
		return nil, err
	}
	return command(a, guide.Command{Kind: kind}, "pose.none")
}

// limitView is the largest heading error with which a check passes.
type limitView struct {
	ID       string            `json:"-"`               // of the field
	Deg      float64           `json:"limit_deg"`       // that counts
	CraftDeg float64           `json:"craft_limit_deg"` // of the craft file
	Asked    string            `json:"asked"`           // that the page asks for instead; empty: none
	Problem  *serve.FieldError `json:"problem"`
}

// limitAsked returns the limit of the craft file, or the one that the page asks
// for. A wrong one is reported and ignored.
func limitAsked(a asked, craft *survey.Craft, id string) limitView {
	v := limitView{ID: id, CraftDeg: craft.Limits.HeadingErrorDeg, Asked: a.Form.Raw("limit_deg")}
	v.Deg = v.CraftDeg
	limit, err := a.Form.Number("limit_deg", 0.01, 180)
	v.Problem, _ = errors.AsType[*serve.FieldError](err)
	if limit != nil {
		v.Deg = *limit
	}
	return v
}
