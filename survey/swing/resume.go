package swing

import (
	"errors"
	"fmt"

	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// resume takes a check up again as it was begun: its stops, reference, axes
// and calibration are those of its file. Whether it can be is found out before
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
	const fresh = "begin anew without --resume"
	if len(h.Stations) == 0 {
		return nil, fmt.Errorf("%s does not say where it was to go: %s", file.File, fresh)
	}
	if h.Probe != s.Unit.Name {
		return nil, fmt.Errorf("%s was begun with %q, not with %q: %s", file.File, h.Probe, s.Unit.Name, fresh)
	}
	s.Route = route(h.Stations)
	return guide.New(s.config(h, file.Captures))
}
