package words

import (
	"errors"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// Hint returns what to do about err, for its own line below the message; empty
// where there is nothing to say.
func Hint(f Face, err error) string { return f.Say(hint(err)) }

// hint returns the remark of the topic "hint" that belongs to err.
func hint(err error) remark.Remark {
	if missing, ok := errors.AsType[*craftfile.MissingError](err); ok {
		dir := missing.Dir
		switch {
		case dir == ".":
			dir = ""
		case strings.Contains(dir, " "):
			dir = `"` + dir + `"`
		}
		return remark.New("hint.no-craft", remark.Values{"dir": dir})
	}
	switch {
	case errors.Is(err, logbook.ErrNoChoice):
		return remark.New("hint.no-choice")
	case errors.Is(err, logbook.ErrNewerFormat):
		return remark.New("hint.newer-format")
	}
	return remark.Remark{}
}
