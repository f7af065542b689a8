package survey

import (
	"errors"
	"path/filepath"
)

// swings reads the files of the swing folder as the commands that use them do:
// a torn line, and a resumption after one, is no damage.
func (v *verifier) swings() {
	v.eachFile(SwingFolder, ".jsonl", func(path string) {
		if _, ok := swingNumber(filepath.Base(path)); !ok {
			v.warn(path, 0, "this is no swing and no arrow check, which are called 0001.jsonl and so on; it is not read")
			return
		}
		file, err := LoadSwing(path)
		if at, ok := errors.AsType[*RunError](err); ok {
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
