package live

import (
	"errors"
	"path/filepath"
	"strings"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report/answer"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/swing"
)

// arrowPanel checks which way the module's arrow and label face, before the glue.
func arrowPanel() Panel {
	return Panel{
		Name: "arrow", Step: StepGlue,
		Data: arrowData,
		Actions: map[string]func(Ask) (any, error){
			"begin":   arrowBegin,
			"resume":  func(a Ask) (any, error) { return poseResume(a, survey.SwingArrow) },
			"command": poseCommand,
			"store":   arrowStore,
		},
	}
}

// arrowView is what the arrow panel shows.
type arrowView struct {
	Linked       bool          `json:"linked"`
	Busy         bool          `json:"busy"`
	Calibrations []string      `json:"calibrations"`
	HasProbe     bool          `json:"has_probe"` // the craft file has a [probe] besides the module
	Answer       *answer.Arrow `json:"answer"`    // of the newest check; nil: there is none
	Taken        string        `json:"taken"`     // when
	File         string        `json:"file"`
	Why          string        `json:"why"`  // why it says nothing
	Found        string        `json:"axes"` // those that storing would write, if the arrow pointed to the nose
	NoAxes       bool          `json:"no_axes"`
	Early        bool          `json:"early"` // the newest was cut short and can be taken up again
	Poses        []string      `json:"poses"` // that can be chosen
	Limit        limitView     `json:"limit"`
}

func arrowData(a Ask) (any, error) {
	f, err := a.Folder()
	if err != nil {
		return nil, err
	}
	v := arrowView{
		Linked: a.probe.State().Connected, Busy: a.Walking(), HasProbe: f.Craft.Probe != nil, NoAxes: f.Craft.Module.Axes == nil,
		Limit: limitAsked(a, f.Craft, "a-limit"),
	}
	for _, p := range heading.PoseNames() {
		v.Poses = append(v.Poses, string(p))
	}
	if v.Calibrations, err = survey.CalibrationIDs(a.Dir()); err != nil {
		return nil, err
	}
	newest, err := swing.Newest(a.Dir(), survey.SwingArrow, 0)
	if err != nil || newest == nil {
		return v, err
	}
	v.Early = !newest.Finished()
	v.Taken, v.File = newest.Header.Started.Format("2006-01-02 15:04"), shortFile(newest)
	stored, err := arrowAnswer(a, f.Craft, newest, v.Limit.Deg, false)
	if err != nil {
		v.Why = err.Error()
		return v, nil
	}
	v.Answer = &stored
	if found, err := axesFound(f.Craft, newest, a); err == nil {
		v.Found = survey.FormatAxes(heading.NearestMounting(magmath.Mat3(found)))
	}
	return v, nil
}

// limitView is the largest error that passes.
type limitView struct {
	ID       string      `json:"-"`               // of the field
	Deg      float64     `json:"limit_deg"`       // that counts
	CraftDeg float64     `json:"craft_limit_deg"` // of the craft file
	Asked    string      `json:"asked"`           // that the page asks for instead; empty: none
	Problem  *FieldError `json:"problem"`
}

// limitAsked is the craft file's limit, unless the page asks for another. What
// it asks wrongly is told and passed over.
func limitAsked(a Ask, craft *survey.Craft, id string) limitView {
	v := limitView{ID: id, CraftDeg: craft.Limits.HeadingErrorDeg, Asked: a.Form.Raw("limit_deg")}
	v.Deg = v.CraftDeg
	limit, err := a.Form.Number("limit_deg", 0.01, 180)
	v.Problem, _ = errors.AsType[*FieldError](err)
	if limit != nil {
		v.Deg = *limit
	}
	return v
}

// arrowAnswer reads a stored check of the module. stores: the axes are found
// anew, with the arrow to the nose.
func arrowAnswer(a Ask, craft *survey.Craft, f *survey.SwingFile, limitDeg float64, stores bool) (answer.Arrow, error) {
	check, err := swing.CheckOf(f)
	if err != nil {
		return answer.Arrow{}, err
	}
	return answer.ArrowOf(check, craft, craft.Module, limitDeg, a.Now(), stores, f.File)
}

// shortFile names a file of the swing folder from the craft folder on.
func shortFile(f *survey.SwingFile) string {
	return survey.SwingFolder + "/" + filepath.Base(f.File)
}

// axesFound are the axes as a check has them, with the arrow to the nose.
func axesFound(craft *survey.Craft, f *survey.SwingFile, a Ask) ([3][3]float64, error) {
	judged, err := arrowAnswer(a, craft, f, craft.Limits.HeadingErrorDeg, true)
	if err != nil {
		return [3][3]float64{}, err
	}
	if !judged.OK {
		return [3][3]float64{}, errors.New(a.Words("arrow.not_ok"))
	}
	return *judged.Rotation, nil
}

// arrowBegin reads the form and begins to walk through the poses.
func arrowBegin(a Ask) (any, error) {
	s, err := poseSetup(a)
	if err != nil {
		return nil, err
	}
	if a.Form.On("probe") {
		if s.Folder.Craft.Probe == nil {
			return nil, badField("probe", "%s", a.Words("arrow.no_probe"))
		}
		s.Unit = *s.Folder.Craft.Probe
	}
	north, err := a.Form.Number("north_deg", -360, 360)
	if err != nil {
		return nil, err
	}
	poses, err := posesAsked(a, s.Header.Calibrated)
	if err != nil {
		return nil, err
	}
	su, err := a.Form.Number("pose_deg", 0.05, 30)
	if err != nil {
		return nil, err
	}
	h := &s.Header
	h.What, h.Reference, h.HeadingSU = survey.SwingArrow, survey.ReferenceMarks, usualPoseSUDeg
	if su != nil {
		h.HeadingSU = *su
	}
	h.ZeroSUDeg = swing.Marks(0, false).SUDeg
	if north != nil {
		h.ZeroDeg = *north
	}
	if a.Form.On("true_north") {
		site := swing.SiteOf(s.Folder.Craft, a.Now())
		h.ZeroDeg, h.ZeroSUDeg = h.ZeroDeg-site.DeclinationDeg, max(h.ZeroSUDeg, site.DeclinationSUDeg)
	}
	s.Route = swing.ArrowRoute(poses)
	return poseBegin(a, s)
}

// posesAsked are the poses that are ticked, else the usual ones.
func posesAsked(a Ask, calibrated bool) ([]heading.PoseName, error) {
	names, err := a.Form.All("pose", len(heading.PoseNames()))
	if err != nil {
		return nil, err
	}
	if len(names) == 0 {
		return swing.UsualPoses(a.Form.On("quick"), calibrated), nil
	}
	poses, err := swing.ParsePoses(strings.Join(names, ","))
	if err != nil {
		return nil, badField("pose", "%v", err)
	}
	different := map[heading.PoseName]bool{}
	for _, p := range poses {
		different[p] = true
	}
	if need := heading.FewestPoses(calibrated); len(different) < need {
		return nil, badField("pose", "%s", a.Words("arrow.poses_few", need))
	}
	return poses, nil
}

// usualPoseSUDeg is the standard uncertainty of a pose of a careful hand (common
// practice, no source); the terminal's default too.
const usualPoseSUDeg = 1.5

// poseSetup reads what an arrow check and a swing have in common.
func poseSetup(a Ask) (swing.Setup, error) {
	var none swing.Setup
	f, err := a.Folder()
	if err != nil {
		return none, err
	}
	s := swing.Setup{Folder: f, Unit: f.Craft.Module, HandsFree: a.Form.On("hands_free")}
	s.Header.Calibrated = a.Form.On("calibrated")
	if a.Form.Has("calibration") {
		ids, err := survey.CalibrationIDs(a.Dir())
		if err != nil {
			return none, err
		}
		if s.Header.Calibration, err = a.Form.Pick("calibration", ids...); err != nil {
			return none, err
		}
		if s.Correction, err = survey.LoadCorrection(a.Dir(), s.Header.Calibration); err != nil {
			return none, err
		}
		s.Header.Calibrated = true
	}
	dwell, err := a.Form.Number("dwell_s", 1, 60)
	if dwell != nil {
		s.DwellS = *dwell
	}
	return s, err
}

func poseBegin(a Ask, s swing.Setup) (any, error) {
	return Done{}, newPosing(a.Bench, s, nil).begin()
}

// poseResume takes up the newest check of a kind where it was cut short, as it
// was begun.
func poseResume(a Ask, what string) (any, error) {
	f, err := a.Folder()
	if err != nil {
		return nil, err
	}
	early, err := swing.Newest(a.Dir(), what, 0)
	if err != nil {
		return nil, err
	}
	if early == nil || early.Finished() {
		return nil, errors.New(a.Words("pose.nothing_early"))
	}
	s := swing.Setup{Folder: f, Unit: f.Craft.Module, Resume: true, HandsFree: a.Form.On("hands_free")}
	s.Header.What, s.Header.State = what, early.Swing.State
	return Done{}, newPosing(a.Bench, s, early).begin()
}

// poseCommand passes on what the operator asks.
func poseCommand(a Ask) (any, error) {
	kind, err := a.Form.Pick("kind", string(guide.CmdCapture), string(guide.CmdRedo), string(guide.CmdSkip),
		string(guide.CmdStop), string(guide.CmdConfirm), string(guide.CmdPause), string(guide.CmdGoOn))
	if err != nil {
		return nil, err
	}
	return guidedCommand(a, guide.CommandKind(kind), "pose.none")
}

// arrowStore writes the axes of the newest check into the craft file.
func arrowStore(a Ask) (any, error) {
	f, err := a.Folder()
	if err != nil {
		return nil, err
	}
	newest, err := swing.Newest(a.Dir(), survey.SwingArrow, 0)
	if err != nil {
		return nil, err
	}
	if newest == nil {
		return nil, errors.New(a.Words("arrow.none"))
	}
	found, err := axesFound(f.Craft, newest, a)
	if err != nil {
		return nil, err
	}
	axes := magmath.Mat3(found)
	if !a.Form.On("exactly") {
		axes = heading.NearestMounting(axes)
	}
	if err := survey.StoreAxesIn(a.Dir(), "module", axes); err != nil {
		return nil, err
	}
	return Done{a.Words("arrow.stored")}, nil
}
