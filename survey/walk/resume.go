package walk

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// resume continues a run. It decides from the folder as read whether that is
// possible, since opening the run writes a line into it.
func (s Setup) resume() (*Begun, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	number := 0 // none is left: the logbook says so in its own words
	if r := logbook.Unfinished(s.Folder.Runs, s.State); r != nil {
		number = r.Header.Run
		if err := s.agrees(r.Header); err != nil {
			return nil, err
		}
		if _, _, err := s.takeUp(r); err != nil {
			return nil, err
		}
	}
	w, r, err := logbook.ResumeRun(s.Folder.Dir, number, s.State, s.Now)
	if err != nil {
		return nil, err
	}
	walk, route, err := s.takeUp(r)
	if err != nil {
		return nil, errors.Join(err, w.Close())
	}
	b := begun(w, walk, route)
	b.Remarks = s.overruled(r.Header, route)
	return b, nil
}

// takeUp plans the run as it was begun and prepares the guide for the rest.
func (s Setup) takeUp(r *logbook.Run) (*guide.Walk, guide.Route, error) {
	h := r.Header
	s.Pulsed, s.Stations, s.Most, s.Extra, s.Proof, s.Together = h.Pulsed, h.Stations, 0, h.Extra, h.Proof, h.Together
	if h.Rhythm != nil {
		s.Rhythm = *h.Rhythm
	}
	route, err := s.Plan()
	if err != nil {
		return nil, route, fmt.Errorf("take up run %d: %w", h.Run, err)
	}
	walk, err := guide.New(s.config(h, route, r.Captures))
	return walk, route, err
}

// agrees returns an error if the run is of another kind than requested: one
// header holds for all its captures.
func (s Setup) agrees(h logbook.Header) error {
	const fresh = "begin a new run instead"
	switch {
	case s.Proof != h.Proof:
		return fmt.Errorf("run %d was begun for another purpose (a proof of a spot is one, a survey another): %s", h.Run, fresh)
	case s.Pulsed && !h.Pulsed:
		return fmt.Errorf("run %d was not pulsed: %s", h.Run, fresh)
	case s.Substitute && !h.Substitute:
		return fmt.Errorf("run %d was not made with a substitute: %s", h.Run, fresh)
	case logbook.NosesDiffer(s.NoseDeg, h.NoseDeg):
		return fmt.Errorf("run %d was begun with the nose at %g degrees, not %g: %s", h.Run, *h.NoseDeg, *s.NoseDeg, fresh)
	case s.NoseDeg != nil && h.NoseDeg == nil:
		return fmt.Errorf("run %d was begun without the direction of the nose: %s", h.Run, fresh)
	case s.Session != "" && s.Session != h.Session:
		return fmt.Errorf("run %d belongs to the set-up %q, not %q: %s", h.Run, h.Session, s.Session, fresh)
	case s.CurrentA != nil && h.CurrentA != nil && *s.CurrentA != *h.CurrentA:
		return fmt.Errorf("run %d was begun with %g A, not %g A: %s", h.Run, *h.CurrentA, *s.CurrentA, fresh)
	case s.CurrentA != nil && h.CurrentA == nil:
		return fmt.Errorf("run %d was begun without a stated current: %s", h.Run, fresh)
	}
	return s.readsAlike(h)
}

// readsAlike returns an error for another calibration, other axes or other named
// stations than those of the header, which hold for the whole run. Other
// differences are reported instead: see overruled.
func (s Setup) readsAlike(h logbook.Header) error {
	const fresh = "and keeps to that: leave %s out to go on, or begin a new run instead"
	switch {
	case s.Calibration != "" && s.Calibration != h.Calibration:
		return fmt.Errorf("run %d was begun with %s, not %s, "+fresh, h.Run, calibrationWords(h.Calibration), s.Calibration, "the calibration")
	case s.Axes != nil && !sameAxes(s.Axes, h.Axes):
		return fmt.Errorf("run %d was begun with %s, not %s, "+fresh, h.Run, axesWords(h.Axes), survey.FormatAxes(*s.Axes), "the axes")
	case len(s.Stations) > 0 && !slices.Equal(s.planned(), slices.Sorted(slices.Values(h.Stations))):
		return fmt.Errorf("run %d was begun over %s, not %s, "+fresh, h.Run, stationsWords(h.Stations), strings.Join(s.Stations, ", "), "the stations")
	}
	return nil
}

// planned returns the sorted names of the stations of the set-up; none if it
// cannot be planned, which is an error elsewhere.
func (s Setup) planned() []string {
	route, err := s.Plan()
	if err != nil {
		return nil
	}
	return slices.Sorted(slices.Values(route.Names()))
}

// overruled returns the settings that the run keeps from its header h and its
// route although the craft file or this call differ.
func (s Setup) overruled(h logbook.Header, route guide.Route) (out []remark.Remark) {
	at := remark.Place{Run: h.Run}
	if now := s.unit().Axes; s.Axes == nil && !sameAxes(now, h.Axes) {
		out = append(out, remark.New("walk.keeps-axes", remark.Values{"axes": formatAxes(h.Axes), "craft_axes": formatAxes(now)}).At(at))
	}
	if r := h.Rhythm; r != nil && (other(s.Rhythm.Pulses, r.Pulses) || other(s.Rhythm.OnS, r.OnS) || other(s.Rhythm.OffS, r.OffS)) {
		out = append(out, remark.New("walk.keeps-rhythm", remark.Values{"pulses": r.Pulses, "on_s": r.OnS, "off_s": r.OffS}).At(at))
	}
	s.Rhythm = logbook.Rhythm{} // it changes no stations
	if asked, err := s.Plan(); (s.Most > 0 || len(s.Extra) > 0) && (err != nil || !maps.Equal(marks(asked), marks(route))) {
		out = append(out, remark.New("walk.keeps-stations", remark.Values{"stations": route.Stations()}).At(at))
	}
	return out
}

// other reports whether asked is set (not 0) and differs from the run's value.
func other[T comparable](asked, has T) bool {
	var nothing T
	return asked != nothing && asked != has
}

// marks returns the stations of a route, except the base, with their places.
func marks(r guide.Route) map[string]r3.Vec {
	at := map[string]r3.Vec{}
	for _, v := range r.Visits {
		if v.Kind != logbook.VisitBase {
			at[v.Station.Name] = v.Station.At
		}
	}
	return at
}

func sameAxes(a, b *magmath.Mat3) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}

func calibrationWords(id string) string {
	if id == "" {
		return "no calibration"
	}
	return "the calibration " + id
}

// formatAxes returns the axes in the notation of the craft file; empty for none.
func formatAxes(m *magmath.Mat3) string {
	if m == nil {
		return ""
	}
	return survey.FormatAxes(*m)
}

func axesWords(m *magmath.Mat3) string {
	if m == nil {
		return "no axes"
	}
	return "the axes " + formatAxes(m)
}

func stationsWords(names []string) string {
	if len(names) == 0 {
		return "all stations"
	}
	return strings.Join(names, ", ")
}
