// Package say puts numbers, lists and places into words, one way for all that a
// person reads: answers, pictures and the record sheet.
package say

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"quietmount/survey"
)

// Attitudes says in words what attitudes a heading error holds for.
func Attitudes(tiltDeg float64) string {
	switch {
	case tiltDeg <= 0:
		return "the craft level, the worst heading"
	case tiltDeg >= 90:
		return "any attitude, the worst heading"
	}
	return fmt.Sprintf("tilts up to %g degrees, the worst heading", tiltDeg)
}

// Listed joins words: "a", "a and b", "a, b and c".
func Listed(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// Named is the name of a craft, or that it has none.
func Named(name string) string {
	if strings.TrimSpace(name) == "" {
		return "craft without a name"
	}
	return name
}

// YesNo is a where it is so, else b.
func YesNo(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// Capital makes the first letter a capital, of any script that has them.
func Capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if first == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(first)) + s[size:]
}

// Size are the bounds of a craft: "700 mm long, 360 mm wide".
func Size(c *survey.Craft) string {
	box := c.Body.OutlineMM.Bounds()
	return fmt.Sprintf("%.0f mm long, %.0f mm wide", box.Max.X-box.Min.X, box.Max.Y-box.Min.Y)
}
