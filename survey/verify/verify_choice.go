package verify

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"quietmount/survey/logbook"
)

// choice reads the chosen spot, if there is one, and says what became of its
// evidence since.
func (v *verifier) choice() {
	path := filepath.Join(v.dir, logbook.ChoiceFile)
	c, err := logbook.LoadChoice(v.dir)
	if errors.Is(err, logbook.ErrNoChoice) {
		return
	}
	if err != nil {
		v.error(path, 0, "damaged: %v", err)
		return
	}
	if v.craft != nil && c.CraftSHA256 != "" && c.CraftSHA256 != v.craft.SHA256 {
		v.warn(path, 0, "the craft file has changed since this spot was chosen")
	}
	for _, r := range c.Runs {
		if r.SHA256 == "" || !filepath.IsLocal(filepath.FromSlash(r.File)) {
			continue
		}
		data, err := os.ReadFile(filepath.Join(v.dir, filepath.FromSlash(r.File)))
		switch sum := sha256.Sum256(data); {
		case errors.Is(err, fs.ErrNotExist):
			v.warn(path, 0, "the choice rests on %s, which is gone", r.File)
		case err != nil:
			v.error(path, 0, "%v", err)
		case !strings.EqualFold(hex.EncodeToString(sum[:]), r.SHA256):
			v.warn(path, 0, "%s has changed since this spot was chosen (a later capture, void or note counts)", r.File)
		}
	}
}
