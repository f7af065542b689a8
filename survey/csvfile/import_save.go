package csvfile

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"quietmount/magmath/remark"
	"quietmount/survey/logbook"
)

// Save writes the run into the craft folder dir under the next free number,
// whole or not at all, and returns it as it then is on the disk. It takes the
// folder's lock meanwhile. say words the warnings for the notes of the run.
func (in *Imported) Save(dir string, say func(remark.Remark) string) (run *logbook.Run, err error) {
	lock, err := logbook.LockFolder(dir, in.Header.Started)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	var b bytes.Buffer
	for _, c := range in.Captures {
		line, err := logbook.EncodeCapture(c)
		if err != nil {
			return nil, err
		}
		b.Write(line)
	}
	for _, w := range in.Warnings {
		line, err := logbook.RunLine(logbook.WireNote{Kind: logbook.LineNote, About: logbook.NoteWarning, Text: say(w), Time: in.Header.Started})
		if err != nil {
			return nil, err
		}
		b.Write(line)
	}
	end, err := logbook.RunLine(logbook.WireNote{Kind: logbook.LineNote, About: logbook.NoteEnd, Text: fmt.Sprintf("imported, %d captures", len(in.Captures)), Time: in.Header.Started})
	if err != nil {
		return nil, err
	}
	b.Write(end)
	path, _, err := lock.NewRun(in.Header, b.Bytes())
	if err != nil {
		return nil, err
	}
	s, err := logbook.ReadRunFile(context.Background(), filepath.Clean(path))
	if err != nil {
		return nil, err
	}
	return s.Run, nil
}
