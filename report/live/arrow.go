package live

import (
	"errors"
	"path/filepath"
	"strings"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/report/answer"
	"quietmount/report/live/serve"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

// arrowView is what the arrow panel shows.
type arrowView struct {
	Linked       bool          `json:"linked"`
	Busy         bool          `json:"busy"`
	Calibrations []string      `json:"calibrations"`
	HasProbe     bool          `json:"has_probe"` // the craft file has a [probe] besides the module
	Answer       *answer.Arrow `json:"answer"`    // of the newest check; nil: there is none
	Taken        string        `json:"taken"`     // when
	File         string        `json:"file"`
	Why          string        `json:"why"`  // why the check gives no answer
	Found        string        `json:"axes"` // those that storing would write, if the arrow pointed to the nose
	NoAxes       bool          `json:"no_axes"`
	Early        bool          `json:"early"` // the newest was stopped early and can be resumed
	Poses        []string      `json:"poses"` // that can be chosen
	Limit        limitView     `json:"limit"`
}

func arrowData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	v := arrowView{
		Linked: a.work.Probe.State().Connected, Busy: a.work.Busy(), HasProbe: f.Craft.Probe != nil, NoAxes: f.Craft.Module.Axes == nil,
		Limit: limitAsked(a, f.Craft, "a-limit"),
	}
	for _, p := range arrow.PoseNames() {
		v.Poses = append(v.Poses, string(p))
	}
	if v.Calibrations, err = logbook.CalibrationIDs(a.Dir); err != nil {
		return nil, err
	}
	newest, err := swing.Newest(a.Dir, logbook.SwingArrow, 0)
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
		v.Found = survey.FormatAxes(arrow.NearestMounting(magmath.Mat3(found)))
	}
	return v, nil
}

// arrowAnswer judges a stored check of the module. stores: the axes are found
// again, for an arrow that points to the nose.
func arrowAnswer(a asked, craft *survey.Craft, f *logbook.SwingFile, limitDeg float64, stores bool) (answer.Arrow, error) {
	check, err := swing.CheckOf(f)
	if err != nil {
		return answer.Arrow{}, err
	}
	return answer.ArrowOf(a.Ctx, words.Page, check, craft, craft.Module, limitDeg, a.Now(), stores, f.File)
}

// shortFile returns the name of a swing file within the craft folder.
func shortFile(f *logbook.SwingFile) string {
	return logbook.SwingFolder + "/" + filepath.Base(f.File)
}

// axesFound returns the axes that a check measured if the arrow pointed to the nose.
func axesFound(craft *survey.Craft, f *logbook.SwingFile, a asked) ([3][3]float64, error) {
	judged, err := arrowAnswer(a, craft, f, craft.Limits.HeadingErrorDeg, true)
	if err != nil {
		return [3][3]float64{}, err
	}
	if !judged.OK {
		return [3][3]float64{}, errors.New(a.Words("arrow.not_ok"))
	}
	return *judged.Rotation, nil
}

// arrowBegin reads the form and begins an arrow check.
func arrowBegin(a asked) (any, error) {
	s, err := poseSetup(a)
	if err != nil {
		return nil, err
	}
	if a.Form.On("probe") {
		if s.Folder.Craft.Probe == nil {
			return nil, serve.BadField("probe", "%s", a.Words("arrow.no_probe"))
		}
		s.Unit = *s.Folder.Craft.Probe
	}
	in, h := serve.Fields{Form: a.Form}, &s.Header
	h.What, h.Reference = logbook.SwingArrow, logbook.ReferenceMarks
	h.ZeroDeg, h.ZeroSUDeg = in.NumberOr("north_deg", 0, -360, 360), swing.Marks(0, false).SUDeg
	h.HeadingSU = in.NumberOr("pose_deg", usualPoseSUDeg, 0.05, 30)
	if in.Err != nil {
		return nil, in.Err
	}
	poses, err := posesAsked(a, h.Calibrated)
	if err != nil {
		return nil, err
	}
	if a.Form.On("true_north") {
		site := swing.SiteOf(s.Folder.Craft, a.Now())
		h.ZeroDeg, h.ZeroSUDeg = h.ZeroDeg-site.DeclinationDeg, max(h.ZeroSUDeg, site.DeclinationSUDeg)
	}
	s.Route = swing.ArrowRoute(poses)
	return serve.Done{}, a.work.Pose(s, nil)
}

// posesAsked returns the poses that are ticked, or the usual ones if none is.
func posesAsked(a asked, calibrated bool) ([]arrow.PoseName, error) {
	names, err := a.Form.All("pose", len(arrow.PoseNames()))
	if err != nil {
		return nil, err
	}
	if len(names) == 0 {
		return swing.UsualPoses(a.Form.On("quick"), calibrated), nil
	}
	poses, err := swing.ParsePoses(strings.Join(names, ","))
	if err != nil {
		return nil, serve.BadField("pose", "%v", err)
	}
	different := map[arrow.PoseName]bool{}
	for _, p := range poses {
		different[p] = true
	}
	if need := arrow.FewestPoses(calibrated); len(different) < need {
		return nil, serve.BadField("pose", "%s", a.Words("arrow.poses_few", need))
	}
	return poses, nil
}

// usualPoseSUDeg is the standard uncertainty of a pose of a careful hand (common
// practice, no source); the terminal's default too.
const usualPoseSUDeg = 1.5

// arrowStore writes the axes of the newest check into the craft file.
func arrowStore(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	newest, err := swing.Newest(a.Dir, logbook.SwingArrow, 0)
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
		axes = arrow.NearestMounting(axes)
	}
	if err := craftfile.StoreAxesIn(a.Dir, "module", axes); err != nil {
		return nil, err
	}
	return serve.Done{Say: a.Words("arrow.stored")}, nil
}
