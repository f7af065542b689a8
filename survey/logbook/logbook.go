package logbook

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"quietmount/survey"
	"quietmount/survey/craftfile"
)

// A Folder is a craft folder as read: the craft and its runs, sorted by
// number.
type Folder struct {
	Dir   string
	Craft *survey.Craft
	Runs  []*Run
}

// OpenFolder reads the craft file and every run of the craft folder dir. It
// takes no lock: a run that is being written is read as far as it has come.
func OpenFolder(ctx context.Context, dir string) (*Folder, error) {
	craft, err := craftfile.Load(dir)
	if err != nil {
		return nil, err
	}
	runs, err := LoadRuns(ctx, dir)
	if err != nil {
		return nil, err
	}
	return &Folder{Dir: dir, Craft: craft, Runs: runs}, nil
}

// LoadRuns reads every run file in dir/runs, sorted by number. A folder without
// runs gives none. Damage in any of them, or one number in two files, is an
// error that names file and line. Run.Header.Run is the number in the file's
// name; a header that gives another number leads to a warning. Once ctx has
// ended the error is that of ctx.
func LoadRuns(ctx context.Context, dir string) ([]*Run, error) {
	names, _, err := RunFiles(dir)
	if err != nil {
		return nil, err
	}
	var runs []*Run
	var errs []error
	seen := map[int]string{}
	for _, name := range names {
		n, _ := RunNumber(name)
		if other, ok := seen[n]; ok {
			errs = append(errs, &RunError{File: filepath.Join(dir, RunsFolder, name),
				Err: fmt.Errorf("run number %d is used by %s too; rename one of them", n, other)})
			continue
		}
		seen[n] = name
		s, err := readFile(ctx, filepath.Join(dir, RunsFolder, name))
		if ctx.Err() != nil {
			return nil, fmt.Errorf("read the runs: %w", ctx.Err())
		}
		if err != nil {
			errs = append(errs, err)
			continue
		}
		runs = append(runs, s.run)
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	slices.SortFunc(runs, func(a, b *Run) int { return a.Header.Run - b.Header.Run })
	return runs, nil
}

// SelectRuns picks the runs of a list like "1,2,5" or "1-3,5", in the order of
// their numbers. An empty list picks all. A number that no run has, or that is
// none, is an error.
func SelectRuns(runs []*Run, list string) ([]*Run, error) {
	if strings.TrimSpace(list) == "" {
		return runs, nil
	}
	picked := map[int]bool{}
	for word := range strings.SplitSeq(list, ",") {
		first, last, err := runRange(strings.TrimSpace(word))
		if err != nil {
			return nil, err
		}
		found := false
		for _, r := range runs {
			if n := r.Header.Run; n >= first && n <= last {
				picked[n], found = true, true
			}
		}
		if !found {
			return nil, fmt.Errorf("there is no run %s; there are %s", strings.TrimSpace(word), runNumbers(runs))
		}
	}
	var out []*Run
	for _, r := range runs {
		if picked[r.Header.Run] {
			out = append(out, r)
		}
	}
	return out, nil
}

func runRange(word string) (first, last int, err error) {
	a, b, span := strings.Cut(word, "-")
	first, err = strconv.Atoi(strings.TrimSpace(a))
	last = first
	if err == nil && span {
		last, err = strconv.Atoi(strings.TrimSpace(b))
	}
	if err != nil || first < 1 || last < first {
		return 0, 0, fmt.Errorf("%q is no run number; write numbers apart by commas, like 1,2,5", word)
	}
	return first, last, nil
}

func runNumbers(runs []*Run) string {
	if len(runs) == 0 {
		return "none yet"
	}
	var words []string
	for _, r := range runs {
		words = append(words, strconv.Itoa(r.Header.Run))
	}
	return strings.Join(words, ", ")
}
