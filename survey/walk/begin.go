package walk

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// Setup is the run to begin or resume.
type Setup struct {
	Folder     *logbook.Folder
	State      string
	CurrentA   *float64 // while on; nil: not stated
	Pulsed     bool
	Rhythm     logbook.Rhythm // zero: logbook.DefaultRhythm; of a resumed run, a differing one is ignored and reported
	Substitute bool
	NoseDeg    *float64 // magnetic direction of the nose; nil: not known
	Session    string   // empty: the day

	Axes        *magmath.Mat3 // nil: those of the craft file
	Calibration string        // ID, with Correction
	Correction  *survey.Correction

	Stations  []string           // empty: the craft's own
	Extra     []survey.Station   // to be walked instead: places that the craft file does not name
	Proof     bool               // the module stands at the chosen spot: the run proves the map and does not enter it
	ByProbe   bool               // of a proof: not the module but the craft file's probe measures
	Together  map[string]float64 // of a proof: loads that go on and off with State, and their currents, amperes; 0 of a moving one
	Most      int                // walk so many of them, well spread; 0: as the state has it
	Full      bool               // the whole walk for the background too
	HandsFree bool
	Rules     guide.Rules // zero: guide.DefaultRules

	Resume     bool // go on with the newest unfinished run of the state
	Unattended bool // the checklist is shown and not waited for
	Confirmed  bool // the checklist has been confirmed already

	Port, Decoder, Tool string                     // for the header
	Words               func(remark.Remark) string // of the confirmed checklist, for the header; needed with Confirmed
	Now                 time.Time
}

// About identifies a run that has begun.
type About struct {
	Craft string
	State string
	Run   int
	File  string // the run file
}

// Begun is a run that is ready to be walked. Close its Writer at the end.
type Begun struct {
	Writer *logbook.RunWriter
	Walk   *guide.Walk
	Route  guide.Route
	About  About

	Remarks []remark.Remark // of a resumed run: settings kept from the run although the craft file or the call differ
}

// Plan returns the route of a set-up without beginning a run.
func (s Setup) Plan() (guide.Route, error) {
	if err := s.check(); err != nil {
		return guide.Route{}, err
	}
	stations, err := s.stations()
	if err != nil {
		return guide.Route{}, err
	}
	return guide.Plan(s.Folder.Craft, guide.PlanOptions{
		State: s.State, Stations: stations, Most: s.Most, Full: s.Full || len(stations) > 0,
		Pulsed: s.Pulsed, Rhythm: s.Rhythm, Rules: s.Rules, Settings: s.settings(),
	})
}

// settings returns how often the probe is set down at each station; 0: as usual.
func (s Setup) settings() int {
	if s.Proof {
		return logbook.ProofSettings
	}
	return 0
}

// together returns the loads that go on and off with the state, in order.
func together(all map[string]float64) []string { return slices.Sorted(maps.Keys(all)) }

// unit returns the unit that measures: a spot is proved with the module itself.
func (s Setup) unit() survey.Module {
	if s.Proof && !s.ByProbe {
		return s.Folder.Craft.Module
	}
	return s.Folder.Craft.MeasuringModule()
}

// Checklist returns the items to confirm before the first station, fitted parts
// first.
func (s Setup) Checklist() []remark.Remark {
	fitted, cautions := guide.ChecklistFor(s.Folder.Craft, s.State, s.Pulsed, together(s.Together)...)
	return append(fitted, cautions...)
}

// Begin plans the walk, prepares the guide and opens the run file last, so that
// an error leaves no file. A resumed run continues as it was begun: its
// stations, rhythm, axes and calibration are those of its header. Another kind of
// run, other Stations, other axes or another calibration is an error; a differing
// Rhythm, Most or Extra is ignored and reported in the Remarks.
func Begin(s Setup) (*Begun, error) {
	if s.Resume {
		return s.resume()
	}
	route, err := s.Plan()
	if err != nil {
		return nil, err
	}
	h := s.header(route)
	walk, err := guide.New(s.config(h, route, nil))
	if err != nil {
		return nil, err
	}
	w, err := logbook.CreateRun(s.Folder.Dir, h)
	if err != nil {
		return nil, err
	}
	return begun(w, walk, route), nil
}

func begun(w *logbook.RunWriter, walk *guide.Walk, route guide.Route) *Begun {
	h := w.Header()
	return &Begun{
		Writer: w, Walk: walk, Route: route,
		About: About{Craft: h.Craft, State: strings.Join(append([]string{h.State}, together(h.Together)...), " + "), Run: h.Run, File: w.File()},
	}
}

func (s Setup) check() error {
	craft := s.Folder.Craft
	if err := craft.State(s.State); err != nil {
		return err
	}
	isLoad := s.State != survey.StateBackground && s.State != survey.StateUnpowered
	if s.Pulsed && !isLoad {
		return fmt.Errorf("%s cannot be pulsed: only a load goes on and off", s.State)
	}
	if s.Substitute && !isLoad {
		return fmt.Errorf("%s has no substitute: only a load has", s.State)
	}
	if err := s.checkTogether(); err != nil {
		return err
	}
	if s.Most < 0 {
		return fmt.Errorf("at most %d stations: give 1 or more, or 0 for all", s.Most)
	}
	if s.CurrentA != nil && isLoad && !(*s.CurrentA > 0 || s.Substitute && *s.CurrentA < 0) {
		return fmt.Errorf("a current of %g A: give the current while the load is on, more than 0; less than 0 is for a substitute whose polarity was reversed", *s.CurrentA)
	}
	return nil
}

// checkTogether refuses loads that cannot be on together.
func (s Setup) checkTogether() error {
	if len(s.Together) == 0 {
		return nil
	}
	if !s.Proof || !s.Pulsed {
		return errors.New("only to prove a spot are several loads pulsed together")
	}
	return CheckTogether(s.Folder.Craft, s.State, s.Together)
}

// CheckTogether returns an error if the loads of the map, with their currents in
// amperes, cannot be on together with each other and with the load first.
func CheckTogether(craft *survey.Craft, first string, with map[string]float64) error {
	all := append([]string{first}, together(with)...)
	for i, a := range all {
		l, ok := craft.LoadByName(a)
		switch {
		case !ok:
			return fmt.Errorf("no load is called %q", a)
		case i > 0 && l.Kind == survey.LoadCurrent && !(math.Abs(with[a]) > 0):
			return fmt.Errorf("give the current of %q while it is on, in amperes", a)
		}
		for _, b := range all[:i] {
			if a == b || !craft.Together(a, b) {
				return fmt.Errorf("%q and %q are not on together by the craft file", b, a)
			}
		}
	}
	return nil
}

// stations returns the chosen stations by name.
func (s Setup) stations() ([]survey.Station, error) {
	if len(s.Extra) > 0 {
		return s.Extra, nil
	}
	var out []survey.Station
	for _, name := range s.Stations {
		st, ok := s.Folder.Craft.Station(strings.TrimSpace(name))
		if !ok {
			return nil, fmt.Errorf("no station is called %q", name)
		}
		out = append(out, st)
	}
	return out, nil
}

func (s Setup) header(route guide.Route) logbook.Header {
	craft := s.Folder.Craft
	h := logbook.Header{
		CraftSHA256: craft.SHA256, Craft: craft.Name, State: s.State,
		Pulsed: s.Pulsed, Substitute: s.Substitute, Probe: s.unit().Name,
		Axes: s.axes(), Calibration: s.Calibration, Correction: s.Correction,
		Port: s.Port, Decoder: s.Decoder, Tool: s.Tool, Started: s.Now,
		Session: s.Session, NoseDeg: s.NoseDeg, Proof: s.Proof, Extra: s.Extra, Together: s.Together,
	}
	if h.Session == "" {
		h.Session = s.Now.Format(time.DateOnly)
	}
	if s.CurrentA != nil {
		h.CurrentA = s.CurrentA
	}
	if s.Pulsed {
		h.Rhythm = new(route.Rhythm)
	}
	if s.Most > 0 || len(s.Stations) > 0 || len(s.Extra) > 0 {
		h.Stations = route.Names()
	}
	if s.Confirmed {
		h.Fitted = slices.Clone(craft.Body.Fitted)
		_, cautions := guide.ChecklistFor(craft, s.State, s.Pulsed, together(s.Together)...)
		for _, c := range cautions {
			h.Confirmed = append(h.Confirmed, s.Words(c))
		}
	}
	return h
}

func (s Setup) axes() *magmath.Mat3 {
	if s.Axes != nil {
		return s.Axes
	}
	return s.unit().Axes
}

// config returns the guide's configuration for the run's header.
func (s Setup) config(h logbook.Header, route guide.Route, stored []logbook.Capture) guide.Config {
	c := guide.Config{
		Craft: s.Folder.Craft, State: h.State, Together: together(h.Together), CurrentA: math.Abs(h.Amperes()), Pulsed: h.Pulsed,
		HandsFree: s.HandsFree, Rules: s.Rules, Route: &route,
		Stored: stored, Resume: s.Resume,
		Unattended: s.Unattended, SkipChecklist: s.Confirmed,
		Reference: s.reference(h), Axes: h.Axes, Correction: h.Correction,
		Prior: s.prior(h),
	}
	if h.Rhythm != nil {
		c.Rhythm = *h.Rhythm
	}
	return c
}

// reference returns the expected field at the site, for the guide's remarks.
func (s Setup) reference(h logbook.Header) *guide.Reference {
	e := s.Folder.Craft.Site.Field(s.Now)
	return &guide.Reference{FUT: e.F / 1000, DipDeg: &e.I, NoseDeg: h.NoseDeg}
}

// prior returns the field at the stations from the unpowered runs of the same
// set-up, the latest capture of each: a powered run is compared with it to find
// wrong marks.
func (s Setup) prior(h logbook.Header) map[string]r3.Vec {
	if h.State == survey.StateBackground || h.State == survey.StateUnpowered {
		return nil
	}
	out := map[string]r3.Vec{}
	for _, r := range s.Folder.Runs {
		if r.Header.State != survey.StateUnpowered || r.Header.Session != h.Session || r.Header.Imported {
			continue
		}
		for _, c := range r.Valid() {
			out[c.Station] = c.BUT
		}
	}
	return out
}
