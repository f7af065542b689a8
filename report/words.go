package report

import (
	"fmt"
	"strings"
	"unicode"
)

// attitudes says in words what attitudes a heading error holds for.
func attitudes(tiltDeg float64) string {
	switch {
	case tiltDeg <= 0:
		return "the craft level, the worst heading"
	case tiltDeg >= 90:
		return "any attitude, the worst heading"
	}
	return fmt.Sprintf("tilts up to %g degrees, the worst heading", tiltDeg)
}

// wordsOf splits at white space, but keeps a number with its unit ("20 mm")
// and a coordinate with its number ("x 20") together.
func wordsOf(s string) []string {
	var out []string
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) && r != noBreak }) {
		if n := len(out); n > 0 && (isUnit(w) && endsInDigit(out[n-1]) || isAxis(out[n-1]) && w[0] <= '9') {
			out[n-1] += string(noBreak) + w
			continue
		}
		out = append(out, w)
	}
	return out
}

const noBreak = '\u00a0'

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

// listed joins words: "a", "a and b", "a, b and c".
func listed(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// signed writes a number to a tenth with its sign; nothing has none.
func signed(v float64) string {
	if s := fmt.Sprintf("%+.1f", v); s != "-0.0" && s != "+0.0" {
		return s
	}
	return "0.0"
}
