package verify

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// Severity sorts what Folder finds.
type Severity string

// The severities. An error keeps a file from being used or makes an answer
// wrong; a warning is worth knowing.
const (
	SeverityError   Severity = "error"
	SeverityWarning Severity = "warning"
)

// A Problem is one thing that is wrong in a craft folder. The place of its remark
// names the file, and the line from 1 where it is one line.
type Problem struct {
	Severity Severity
	Remark   remark.Remark // topics "verify", "logbook" and "craft"
}

// Folder reads every file of the craft folder dir and returns what is wrong with
// it, file by file: craft.toml, then the runs in the order of their names,
// calibrations, the choice, swings, strays; nil if nothing is wrong. Once ctx has
// ended the list is unfinished: the caller asks ctx.
func Folder(ctx context.Context, dir string) []Problem {
	v := verifier{ctx: ctx, dir: dir}
	if st, err := os.Stat(dir); err != nil || !st.IsDir() {
		v.error(dir, 0, remark.New("verify.no-folder"))
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
	ctx      context.Context // of the one look at the folder
	dir      string
	craft    *survey.Craft // nil: it could not be read
	stations map[string]survey.Station
	problems []Problem
}

func (v *verifier) error(file string, line int, r remark.Remark) { v.add(SeverityError, file, line, r) }

func (v *verifier) warn(file string, line int, r remark.Remark) {
	v.add(SeverityWarning, file, line, r)
}

func (v *verifier) add(sev Severity, file string, line int, r remark.Remark) {
	r.Place.File, r.Place.Line = file, line
	v.problems = append(v.problems, Problem{sev, r})
}

// unreadable is the remark on a file or a line that cannot be read.
func unreadable(err error) remark.Remark {
	return remark.New("verify.unreadable", remark.Values{"error": err.Error()})
}

func (v *verifier) craftFile() {
	path := filepath.Join(v.dir, craftfile.Name)
	craft, err := craftfile.Load(v.dir)
	if list, ok := errors.AsType[craftfile.Mistakes](err); ok {
		for _, e := range list {
			v.error(path, e.Line, remark.New("verify.craft-file", remark.Values{"column": e.Column, "mistake": e.Msg, "hint": e.Hint}))
		}
		return
	}
	if err != nil {
		v.error(path, 0, unreadable(err))
		return
	}
	for _, r := range craft.Remarks {
		v.warn(path, 0, r)
	}
	v.craft, v.stations = craft, craft.StationsByName()
}

func (v *verifier) runs() {
	names, strays, err := logbook.RunFiles(v.dir)
	if err != nil {
		v.error(filepath.Join(v.dir, logbook.RunsFolder), 0, unreadable(err))
		return
	}
	var runs []*logbook.Run
	seen := map[int]string{}
	for _, name := range names {
		if v.ctx.Err() != nil {
			return
		}
		path := filepath.Join(v.dir, logbook.RunsFolder, name)
		n, _ := logbook.RunNumber(name)
		if other, ok := seen[n]; ok {
			v.error(path, 0, remark.New("verify.number-twice", remark.Values{"other": other}).At(remark.Place{Run: n}))
		}
		seen[n] = name
		if r := v.readRun(path); r != nil {
			v.run(r)
			runs = append(runs, r)
		}
	}
	for _, name := range strays {
		v.warn(filepath.Join(v.dir, logbook.RunsFolder, name), 0, remark.New("verify.stray"))
	}
	v.together(runs)
}

// readRun reads a run as far as it goes and reports everything that is wrong with
// its lines; nil if there is no header.
func (v *verifier) readRun(path string) *logbook.Run {
	run, errs := logbook.ExamineRun(v.ctx, path)
	const most = 20
	for i, e := range errs {
		if i == most {
			v.error(path, e.Line, remark.New("verify.more", remark.Values{"errors": len(errs) - most}))
			break
		}
		v.error(path, e.Line, unreadable(e.Err))
	}
	return run
}

// together looks at the runs as a whole.
func (v *verifier) together(runs []*logbook.Run) {
	if len(runs) == 0 {
		return
	}
	dir := filepath.Join(v.dir, logbook.RunsFolder)
	if !slices.ContainsFunc(runs, func(r *logbook.Run) bool { return r.Header.State == survey.StateBackground }) {
		v.warn(dir, 0, remark.New("verify.no-background"))
	}
	noses := map[string]float64{}
	for _, r := range runs {
		if r.Header.NoseDeg == nil || r.Header.State == survey.StateBackground {
			continue
		}
		nose, ok := noses[r.Header.Session]
		if ok && logbook.NosesDiffer(&nose, r.Header.NoseDeg) {
			v.warn(r.File, 1, remark.New("verify.nose-turned", remark.Values{"nose_deg": *r.Header.NoseDeg, "before_deg": nose, "session": r.Header.Session}))
		}
		noses[r.Header.Session] = *r.Header.NoseDeg
	}
}

// eachFile calls take for every file of a folder whose name ends in ext, and
// reports everything else there.
func (v *verifier) eachFile(folder, ext string, take func(path string)) {
	dir := filepath.Join(v.dir, folder)
	entries, err := os.ReadDir(dir)
	if os.IsNotExist(err) {
		return
	}
	if err != nil {
		v.error(dir, 0, unreadable(err))
		return
	}
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		if e.IsDir() || filepath.Ext(e.Name()) != ext {
			v.warn(path, 0, remark.New("verify.stray-kind", remark.Values{"kind": ext}))
			continue
		}
		take(path)
	}
}

// strays reports run files that lie in the folder itself.
func (v *verifier) strays() {
	entries, err := os.ReadDir(v.dir)
	if err != nil {
		v.error(v.dir, 0, unreadable(err))
		return
	}
	for _, e := range entries {
		name := e.Name()
		if e.IsDir() || !strings.HasSuffix(name, ".jsonl") {
			continue // pictures, notes and tables of the builder's own are welcome
		}
		v.warn(filepath.Join(v.dir, name), 0, remark.New("verify.stray-run", remark.Values{"folder": logbook.RunsFolder}))
	}
}
