package logbook

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"unicode"
)

// RunsFolder is the folder of the run files inside a craft folder.
const RunsFolder = "runs"

var runNamePattern = regexp.MustCompile(`^([0-9]{4,9})-.*\.jsonl$`)

// runSlug turns a state's name into something every file system takes:
// letters and digits of any script in lower case, everything else a hyphen.
// The name itself is in the header.
func runSlug(state string) string {
	var b strings.Builder
	n := 0
	for _, r := range strings.ToLower(state) {
		switch {
		case n == 40:
			continue
		case r != unicode.ReplacementChar && unicode.In(r, unicode.Letter, unicode.Digit, unicode.Mark):
			b.WriteRune(r)
			n++
		case n > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
			n++
		}
	}
	if s := strings.Trim(b.String(), "-"); s != "" {
		return s
	}
	return "run"
}

// RunNumber returns the number in a run file's name; ok is false if it is not
// the name of a run file.
func RunNumber(name string) (n int, ok bool) {
	m := runNamePattern.FindStringSubmatch(name)
	if m == nil {
		return 0, false
	}
	n, err := strconv.Atoi(m[1])
	return n, err == nil && n > 0
}

// RunFiles returns the sorted names in dir/runs that name a run file, and the
// names that do not (strays). A missing folder holds none.
func RunFiles(dir string) (runs, strays []string, err error) {
	entries, err := os.ReadDir(filepath.Join(dir, RunsFolder))
	if os.IsNotExist(err) {
		if _, err := os.Stat(dir); err != nil {
			return nil, nil, fmt.Errorf("craft folder: %w", err)
		}
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, fmt.Errorf("list the runs: %w", err)
	}
	for _, e := range entries {
		if _, ok := RunNumber(e.Name()); ok && !e.IsDir() {
			runs = append(runs, e.Name())
		} else {
			strays = append(strays, e.Name())
		}
	}
	return runs, strays, nil
}

// nextRunNumber is one more than the highest number in use.
func nextRunNumber(dir string) (int, error) {
	runs, _, err := RunFiles(dir)
	if err != nil {
		return 0, err
	}
	next := 1
	for _, name := range runs {
		n, _ := RunNumber(name)
		next = max(next, n+1)
	}
	return next, nil
}
