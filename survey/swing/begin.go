package swing

import (
	"errors"
	"fmt"
	"time"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/walk"
)

// Setup says which arrow check or swing is to be walked.
type Setup struct {
	Folder     *logbook.Folder
	Unit       survey.Module       // what is checked, the module or the probe
	Header     logbook.SwingHeader // what the check itself knows; Begin fills in the rest
	Correction *survey.Correction
	Route      *guide.Route
	HandsFree  bool
	Unattended bool    // the checklist is shown and not waited for
	Confirmed  bool    // the checklist has been confirmed already
	DwellS     float64 // 0: the usual one
	Resume     bool    // go on with the newest unfinished check of the kind, as it was begun: Unit, Correction and Route are its own

	Port, Decoder, Tool string // for the header
	Now                 time.Time
}

// Begun is a check that is ready to be walked. Close its Writer at the end.
type Begun struct {
	Writer *logbook.RunWriter
	Walk   *guide.Walk
	About  walk.About
}

// Begin readies the guide and opens the file, last, so that nothing is left
// behind on an error. The chosen spot is kept with it.
func Begin(s Setup) (*Begun, error) {
	if s.Resume {
		return s.resume()
	}
	choice, err := logbook.Chosen(s.Folder.Dir)
	if err != nil {
		return nil, err
	}
	h := s.Header
	if choice != nil {
		h.Spot = choice.Mounted()
	}
	h.Header = s.header(h)
	g, err := guide.New(s.config(h, nil))
	if err != nil {
		return nil, err
	}
	w, err := logbook.CreateSwing(s.Folder.Dir, h)
	if err != nil {
		return nil, err
	}
	return begun(w, g, h), nil
}

func begun(w *logbook.RunWriter, g *guide.Walk, h logbook.SwingHeader) *Begun {
	return &Begun{w, g, walk.About{Craft: h.Craft, State: h.What, Run: w.Header().Run, File: w.File()}}
}

// Checklist returns what is to be confirmed first: nothing while all is off.
func (s Setup) Checklist() []remark.Remark {
	if s.Header.State == "" || s.Header.State == survey.StateUnpowered {
		return nil
	}
	fitted, cautions := guide.ChecklistFor(s.Folder.Craft, s.Header.State, false)
	return append(fitted, cautions...)
}

func (s Setup) header(h logbook.SwingHeader) logbook.Header {
	craft := s.Folder.Craft
	out := logbook.Header{
		CraftSHA256: craft.SHA256, Craft: craft.Name, State: h.State, CurrentA: h.CurrentA,
		Probe: s.Unit.Name, Correction: s.Correction, Port: s.Port, Decoder: s.Decoder, Tool: s.Tool, Started: s.Now,
		Calibration: h.Calibration, Fitted: craft.Body.Fitted, Stations: stops(s.Route),
	}
	if out.State == "" {
		out.State = survey.StateUnpowered
	}
	if h.What == logbook.SwingHeadings {
		out.Axes = s.Unit.Axes
	}
	return out
}

// config readies the guide for what is left after the stored captures. An
// arrow check is about the axes, so it uses none.
func (s Setup) config(h logbook.SwingHeader, stored []logbook.Capture) guide.Config {
	rules := guide.DefaultRules()
	if s.DwellS > 0 {
		rules.DwellS = s.DwellS
		rules.MaxDwellS = max(rules.MaxDwellS, 2*rules.DwellS)
	}
	axes := h.Axes
	if h.What == logbook.SwingArrow {
		axes = new(magmath.Identity())
	}
	return guide.Config{
		Craft: s.Folder.Craft, State: h.State, CurrentA: h.Amperes(), HandsFree: s.HandsFree, Rules: rules, Route: s.Route,
		SkipChecklist: s.Confirmed || h.State == survey.StateUnpowered, Unattended: s.Unattended, Axes: axes, Correction: h.Correction,
		Stored: stored, Resume: s.Resume,
	}
}

// resume goes on with a check as it was begun: its stops, reference, axes and
// calibration are those of its file. Whether that is possible is found out before
// the file is opened, since that writes a line into it.
func (s Setup) resume() (*Begun, error) {
	dir, what := s.Folder.Dir, s.Header.What
	file, err := logbook.UnfinishedSwing(dir, what)
	if err != nil {
		return nil, err
	}
	if _, err := s.takeUp(file); err != nil {
		return nil, err
	}
	w, file, err := logbook.ResumeSwing(dir, what, s.Now)
	if err != nil {
		return nil, err
	}
	g, err := s.takeUp(file)
	if err != nil {
		return nil, errors.Join(err, w.Close())
	}
	return begun(w, g, file.Swing), nil
}

// takeUp readies the guide for the stops that are left.
func (s Setup) takeUp(file *logbook.SwingFile) (*guide.Walk, error) {
	h := file.Swing
	const fresh = "begin a new one instead"
	if len(h.Stations) == 0 {
		return nil, fmt.Errorf("%s does not say where it was to go: %s", file.File, fresh)
	}
	if h.Probe != s.Unit.Name {
		return nil, fmt.Errorf("%s was begun with %q, not with %q: %s", file.File, h.Probe, s.Unit.Name, fresh)
	}
	s.Route = route(h.Stations)
	return guide.New(s.config(h, file.Captures))
}

// Newest returns the newest file of the swing folder that holds what is asked for,
// logbook.SwingArrow or logbook.SwingHeadings, or the one of that number; nil if
// there is none.
func Newest(dir, what string, number int) (*logbook.SwingFile, error) {
	all, err := logbook.LoadSwings(dir)
	if err != nil {
		return nil, err
	}
	var found *logbook.SwingFile
	for _, s := range all {
		if s.Swing.What == what && (number == 0 || s.Header.Run == number) {
			found = s
		}
	}
	return found, nil
}

// CountedHeadings returns the marks of a swing: so many all round, or a list of
// marks apart by commas. The error says what is wanted.
func CountedHeadings(text string) ([]float64, error) {
	list, err := parseHeadings(text)
	if err != nil || len(list) > 1 {
		return list, err
	}
	n := int(list[0])
	if float64(n) != list[0] || n < fewestHeadings || n > mostHeadings {
		return nil, fmt.Errorf("%s: from %d to %d headings", text, fewestHeadings, mostHeadings)
	}
	return UsualHeadings(n), nil
}

// Five coefficients want five headings; 5 degrees apart is the finest that a
// hand sets.
const fewestHeadings, mostHeadings = 5, 72
