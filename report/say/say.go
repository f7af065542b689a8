// Package say puts numbers, lists and places into words, in one way for answers,
// pictures, the page and the record sheet. In come plain values, out go short
// pieces of English; whole sentences are built by the callers. number.go has the
// numbers, place.go the places, lines.go the breaking of lines.
package say

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"quietmount/survey"
)

// Combination names the loads of a combination, those whose current is reversed
// with that word in brackets.
func Combination(loads, reversed []string) []string {
	var out []string
	for _, l := range loads {
		if slices.Contains(reversed, l) {
			l += " (reversed)"
		}
		out = append(out, l)
	}
	return out
}

// Attitudes names what a heading error covers: leans of the craft and the slip of the
// hand up to the builder's limits.
func Attitudes(l survey.Limits) string {
	slip := ""
	if l.SlipMM > 0 {
		slip = fmt.Sprintf(", set down up to %g mm off", l.SlipMM)
	}
	switch {
	case l.TiltDeg <= 0:
		return "the craft level" + slip + ", the worst heading"
	case l.TiltDeg >= 90:
		return "any attitude" + slip + ", the worst heading"
	}
	return fmt.Sprintf("leans up to %g degrees%s, the worst heading", l.TiltDeg, slip)
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

// Named returns the name of a craft, or words that stand for a missing one.
func Named(name string) string {
	if strings.TrimSpace(name) == "" {
		return "craft without a name"
	}
	return name
}

// YesNo returns a if yes, else b.
func YesNo(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// Capital returns s with its first letter in upper case, in any script.
func Capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if first == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(first)) + s[size:]
}

// Size returns the dimensions of a craft: "700 mm long, 360 mm wide".
func Size(c *survey.Craft) string {
	box := c.Body.OutlineMM.Bounds()
	return fmt.Sprintf("%.0f mm long, %.0f mm wide", box.Max.X-box.Min.X, box.Max.Y-box.Min.Y)
}
