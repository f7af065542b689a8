package live

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// watched returns the files and folders whose change can change an answer.
func watched() []string {
	return []string{
		craftfile.Name, logbook.ChoiceFile, logbook.RunsFolder,
		logbook.CalibrationFolder, logbook.SwingFolder, "record",
	}
}

// fingerprint returns names, sizes and times of change of the watched files: it
// changes when one of them does. What cannot be read counts as missing. It is
// never empty.
func fingerprint(dir string) string {
	b := strings.Builder{}
	b.WriteString(dir + "\n") // never empty
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

// watch tells the pages when the folder changes, by whatever program.
func (b *bench) watch(ctx context.Context) {
	last := fingerprint(b.Dir)
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for changes := 0; ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if print := fingerprint(b.Dir); print != last {
			last = print
			changes++
			b.stream.Show("folder", map[string]int{"changes": changes})
		}
	}
}
