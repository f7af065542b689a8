package live

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"quietmount/report/filing"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// watched returns the files and folders that the page shows something of.
func watched() []string { return append(inputs(""), filing.Folder) }

// inputs returns the files and folders that the answer of a key follows from.
// Most answers follow from the craft file and the runs alone: a spot that is
// chosen, a swing that is stored, or a record that is written leaves them valid.
func inputs(key string) []string {
	measured := []string{craftfile.Name, logbook.RunsFolder}
	switch firstWord(key) {
	case "folder", "findings", "ranking", "map", "maptrust", "walkmap", "sources", "whatif", "choose", "room":
		return measured
	}
	return append(measured, logbook.ChoiceFile, logbook.CalibrationFolder, logbook.SwingFolder)
}

// fingerprint returns names, sizes and times of change of some files and of what
// is in some folders: it changes when one of them does. What cannot be read
// counts as missing. It is never empty.
func fingerprint(dir string, names []string) string {
	b := strings.Builder{}
	b.WriteString(dir + "\n") // never empty
	add := func(name string, info fs.FileInfo) {
		fmt.Fprintf(&b, "%s %d %d\n", name, info.Size(), info.ModTime().UnixNano())
	}
	for _, name := range names {
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
	last := fingerprint(b.Dir, watched())
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for changes := 0; ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if print := fingerprint(b.Dir, watched()); print != last {
			last = print
			changes++
			b.stream.Show("folder", map[string]int{"changes": changes})
		}
	}
}
