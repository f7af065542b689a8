package say

import (
	"strings"
	"unicode"
)

// Lines joins words into lines as long as fits allows. A word that does not fit
// by itself gets a line of its own.
func Lines(words []string, fits func(line string) bool) []string {
	var out []string
	for _, w := range words {
		if n := len(out); n > 0 && fits(out[n-1]+" "+w) {
			out[n-1] += " " + w
			continue
		}
		out = append(out, w)
	}
	return out
}

// Words splits s at white space, but keeps a number with its unit ("20 mm") and a
// coordinate with its number ("x 20") together.
func Words(s string) []string {
	var out []string
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) && r != NoBreak }) {
		if n := len(out); n > 0 && (isUnit(w) && endsInDigit(out[n-1]) || isAxis(out[n-1]) && w[0] <= '9') {
			out[n-1] += string(NoBreak) + w
			continue
		}
		out = append(out, w)
	}
	return out
}

// NoBreak is the space at which no line breaks.
const NoBreak = '\u00a0'

func isUnit(w string) bool {
	switch strings.TrimRight(w, ".,;:)") {
	case "mm", "µT", "g", "A", "%", "degrees":
		return true
	}
	return false
}

func isAxis(w string) bool {
	w = strings.TrimLeft(w, "(")
	return w == "x" || w == "y" || w == "z"
}

func endsInDigit(w string) bool { return w != "" && w[len(w)-1] >= '0' && w[len(w)-1] <= '9' }
