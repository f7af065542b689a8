package verify

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// Severity sorts what VerifyFolder finds.
type Severity string

// The severities. An error keeps a file from being used or makes an answer
// wrong; a warning is worth knowing.
const (
	SeverityError   Severity = "error"
	SeverityWarning Severity = "warning"
)

// A Problem is one thing that is wrong in a craft folder. Line is 1-based, 0
// for a file as a whole.
type Problem struct {
	Severity Severity `json:"severity"`
	File     string   `json:"file"`
	Line     int      `json:"line,omitempty"`
	Text     string   `json:"text"`
}

func (p Problem) String() string {
	if p.Line == 0 {
		return fmt.Sprintf("%s: %s: %s", p.Severity, p.File, p.Text)
	}
	return fmt.Sprintf("%s: %s:%d: %s", p.Severity, p.File, p.Line, p.Text)
}

// VerifyFolder reads every file of the craft folder dir and says what is wrong
// with it, file by file: craft.toml, then the runs in the order of their
// names, calibrations, the choice, swings, strays. Nothing wrong gives none.
func VerifyFolder(ctx context.Context, dir string) []Problem {
	v := verifier{dir: dir}
	if st, err := os.Stat(dir); err != nil || !st.IsDir() {
		v.error(dir, 0, "this is no folder that can be read")
		return v.problems
	}
	v.craftFile()
	v.runs()
	v.calibrations()
	v.choice()
	v.swings()
	v.strays()
	return v.problems
}

type verifier struct {
	dir      string
	craft    *survey.Craft // nil: it could not be read
	stations map[string]survey.Station
	problems []Problem
}

func (v *verifier) add(sev Severity, file string, line int, format string, args ...any) {
	v.problems = append(v.problems, Problem{sev, file, line, fmt.Sprintf(format, args...)})
}

func (v *verifier) error(file string, line int, format string, args ...any) {
	v.add(SeverityError, file, line, format, args...)
}

func (v *verifier) warn(file string, line int, format string, args ...any) {
	v.add(SeverityWarning, file, line, format, args...)
}

func (v *verifier) craftFile() {
	path := filepath.Join(v.dir, craftfile.CraftFile)
	craft, err := craftfile.LoadCraft(v.dir)
	if list, ok := errors.AsType[craftfile.CraftErrors](err); ok {
		for _, e := range list {
			text := fmt.Sprintf("column %d: %s", e.Column, e.Msg)
			if e.Hint != "" {
				text += "; " + e.Hint
			}
			v.error(path, e.Line, "%s", text)
		}
		return
	}
	if err != nil {
		v.error(path, 0, "%v", err)
		return
	}
	for _, r := range craft.Remarks {
		v.warn(path, 0, "%s", r)
	}
	v.craft, v.stations = craft, logbook.StationTable(craft)
}

func (v *verifier) runs() {
	names, strays, err := logbook.RunFiles(v.dir)
	if err != nil {
		v.error(filepath.Join(v.dir, logbook.RunsFolder), 0, "%v", err)
		return
	}
	var runs []*logbook.Run
	seen := map[int]string{}
	for _, name := range names {
		path := filepath.Join(v.dir, logbook.RunsFolder, name)
		n, _ := logbook.RunNumber(name)
		if other, ok := seen[n]; ok {
			v.error(path, 0, "run number %d is used by %s too; rename one of them", n, other)
		}
		seen[n] = name
		if s := v.readRun(path); s != nil {
			s.Number(n)
			v.run(s.Run)
			runs = append(runs, s.Run)
		}
	}
	for _, name := range strays {
		v.warn(filepath.Join(v.dir, logbook.RunsFolder, name), 0, "this is no run file and is not read")
	}
	v.together(runs)
}

// readRun reads a run as far as it goes and tells everything that is wrong
// with its lines; nil if there is no header.
func (v *verifier) readRun(path string) *logbook.RunReader {
	f, err := os.Open(path)
	if err != nil {
		v.error(path, 0, "%v", err)
		return nil
	}
	defer f.Close()
	s := logbook.RunReader{Name: path, Run: &logbook.Run{File: path}}
	s.Read(f)
	const most = 20
	for i, e := range s.Errs {
		if i == most {
			v.error(path, e.Line, "and %d more errors", len(s.Errs)-most)
			break
		}
		v.error(path, e.Line, "%v", e.Err)
	}
	if !s.Header {
		return nil
	}
	return &s
}

// together looks at the runs as a whole.
func (v *verifier) together(runs []*logbook.Run) {
	if len(runs) == 0 {
		return
	}
	dir := filepath.Join(v.dir, logbook.RunsFolder)
	if !slices.ContainsFunc(runs, func(r *logbook.Run) bool { return r.Header.State == survey.StateBackground }) {
		v.warn(dir, 0, "there is no background run, so answers rest on magnitudes only: take the craft away and measure a few places")
	}
	noses := map[string]float64{}
	for _, r := range runs {
		if r.Header.NoseDeg == nil || r.Header.State == survey.StateBackground {
			continue
		}
		nose, ok := noses[r.Header.Session]
		if ok && NoseTurned(nose, *r.Header.NoseDeg) {
			v.warn(r.File, 1, "the nose is at %g degrees here and at %g in an earlier run of the same session %q", *r.Header.NoseDeg, nose, r.Header.Session)
		}
		noses[r.Header.Session] = *r.Header.NoseDeg
	}
}

// noseSlackDeg is how well a nose can be laid by hand (common practice, no
// source).
const noseSlackDeg = 10

// NoseTurned reports whether two directions of the nose, degrees, are farther
// apart than a hand that lays it the same way leaves them.
func NoseTurned(a, b float64) bool { return math.Abs(math.Remainder(a-b, 360)) > noseSlackDeg }

// eachFile takes every file of a folder whose name ends in ext; anything else
// there is a stray.
func (v *verifier) eachFile(folder, ext string, take func(path string)) {
	dir := filepath.Join(v.dir, folder)
	entries, err := os.ReadDir(dir)
	if os.IsNotExist(err) {
		return
	}
	if err != nil {
		v.error(dir, 0, "%v", err)
		return
	}
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		if e.IsDir() || filepath.Ext(e.Name()) != ext {
			v.warn(path, 0, "this is no %s file and is not read", ext)
			continue
		}
		take(path)
	}
}

// strays tells of what lies in the folder itself and belongs to nothing.
func (v *verifier) strays() {
	known := []string{craftfile.CraftFile, logbook.RunsFolder, logbook.CalibrationFolder, logbook.SwingFolder, "record", logbook.LockName, logbook.HolderName}
	entries, err := os.ReadDir(v.dir)
	if err != nil {
		v.error(v.dir, 0, "%v", err)
		return
	}
	for _, e := range entries {
		name := e.Name()
		if e.IsDir() || slices.Contains(known, name) || !strings.HasSuffix(name, ".jsonl") {
			continue // pictures, notes and tables of the builder's own are welcome
		}
		v.warn(filepath.Join(v.dir, name), 0, "a run file belongs into %s; here it is not read", logbook.RunsFolder)
	}
}
