package verify

import (
	"errors"
	"path/filepath"

	"quietmount/survey/logbook"
)

// swings reads the files of the swing folder as the commands that use them do:
// a torn line, and a resumption after one, is no damage.
func (v *verifier) swings() {
	v.eachFile(logbook.SwingFolder, ".jsonl", func(path string) {
		if _, ok := logbook.SwingNumber(filepath.Base(path)); !ok {
			v.warn(path, 0, "this is no swing and no arrow check, which are called 0001.jsonl and so on; it is not read")
			return
		}
		file, err := logbook.LoadSwing(path)
		if at, ok := errors.AsType[*logbook.RunError](err); ok {
			v.error(path, at.Line, "%v", at.Err)
			return
		}
		if err != nil {
			v.error(path, 0, "%v", err)
			return
		}
		for _, w := range file.Warnings {
			line, text := splitWarning(w, path)
			v.warn(path, line, "%s", text)
		}
	})
}
