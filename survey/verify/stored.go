package verify

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey/logbook"
)

// calibrations reads the stored calibrations.
func (v *verifier) calibrations() {
	v.eachFile(logbook.CalibrationFolder, ".json", func(path string) {
		_, err := logbook.ReadCorrection(path)
		if at, ok := errors.AsType[*logbook.RunError](err); ok {
			v.error(path, at.Line, remark.New("verify.damaged", remark.Values{"error": at.Err.Error()}))
		} else if err != nil {
			v.error(path, 0, unreadable(err))
		}
	})
}

// choice reads the chosen spot, if there is one, and reports evidence that has
// changed since.
func (v *verifier) choice() {
	path := filepath.Join(v.dir, logbook.ChoiceFile)
	c, err := logbook.LoadChoice(v.dir)
	if errors.Is(err, logbook.ErrNoChoice) {
		return
	}
	if err != nil {
		v.error(path, 0, remark.New("verify.damaged", remark.Values{"error": err.Error()}))
		return
	}
	if v.craft != nil && c.CraftSHA256 != "" && c.CraftSHA256 != v.craft.SHA256 {
		v.warn(path, 0, remark.New("verify.craft-changed-since-choice"))
	}
	for _, r := range c.Runs {
		if r.SHA256 == "" || !filepath.IsLocal(filepath.FromSlash(r.File)) {
			continue
		}
		data, err := os.ReadFile(filepath.Join(v.dir, filepath.FromSlash(r.File)))
		switch sum := sha256.Sum256(data); {
		case errors.Is(err, fs.ErrNotExist):
			v.warn(path, 0, remark.New("verify.evidence-gone", remark.Values{"run_file": r.File}))
		case err != nil:
			v.error(path, 0, unreadable(err))
		case !strings.EqualFold(hex.EncodeToString(sum[:]), r.SHA256):
			v.warn(path, 0, remark.New("verify.evidence-changed", remark.Values{"run_file": r.File}))
		}
	}
}

// swings reads the files of the swing folder as the commands that use them do:
// a torn line, and a resumption after one, is no damage.
func (v *verifier) swings() {
	v.eachFile(logbook.SwingFolder, ".jsonl", func(path string) {
		if _, ok := logbook.SwingNumber(filepath.Base(path)); !ok {
			v.warn(path, 0, remark.New("verify.stray-swing"))
			return
		}
		file, err := logbook.LoadSwing(path)
		if at, ok := errors.AsType[*logbook.RunError](err); ok {
			v.error(path, at.Line, unreadable(at.Err))
			return
		}
		if err != nil {
			v.error(path, 0, unreadable(err))
			return
		}
		for _, w := range file.Warnings {
			v.warn(path, w.Place.Line, w)
		}
	})
}
