package live

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"quietmount/survey"
)

// readFolder is the craft folder as it was read last.
type readFolder struct {
	print  string
	folder *survey.Folder
	err    error
}

// read reads the folder unless it is as it was.
func (r *readFolder) read(dir string) (*survey.Folder, error) {
	print := fingerprint(dir)
	if print == r.print && (r.folder != nil || r.err != nil) {
		return r.folder, r.err
	}
	r.print = print
	r.folder, r.err = survey.OpenFolder(dir)
	return r.folder, r.err
}

// watched are the files and folders whose change can change an answer.
func watched() []string {
	return []string{
		survey.CraftFile, survey.ChoiceFile, survey.RunsFolder,
		survey.CalibrationFolder, survey.SwingFolder, "record",
	}
}

// fingerprint changes when one of the watched files does: names, sizes and times
// of change. What cannot be read counts as not there.
func fingerprint(dir string) string {
	var b strings.Builder
	add := func(name string, info fs.FileInfo) {
		fmt.Fprintf(&b, "%s %d %d\n", name, info.Size(), info.ModTime().UnixNano())
	}
	for _, name := range watched() {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			continue
		}
		if !info.IsDir() {
			add(name, info)
			continue
		}
		entries, err := os.ReadDir(filepath.Join(dir, name))
		if err != nil {
			continue
		}
		for _, e := range entries {
			if info, err := e.Info(); err == nil {
				add(name+"/"+e.Name(), info)
			}
		}
	}
	return b.String()
}

const lookEvery = time.Second // at the folder

// watch tells the pages when the folder changes, whoever changed it.
func (b *Bench) watch(ctx context.Context) {
	last := fingerprint(b.opts.Dir)
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for changes := 0; ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if print := fingerprint(b.opts.Dir); print != last {
			last = print
			changes++
			b.stream.Show("folder", map[string]int{"changes": changes})
		}
	}
}
