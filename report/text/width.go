package text

import (
	"strings"
	"unicode"

	"golang.org/x/text/width"

	"quietmount/report/say"
)

// Clipped cuts s to a number of columns and marks the cut with a tilde.
func Clipped(s string, most int) string {
	if Width(s) <= most {
		return s
	}
	var b strings.Builder
	w := 0
	for _, r := range s {
		if w+runeWidth(r) > most-1 {
			break
		}
		w += runeWidth(r)
		b.WriteRune(r)
	}
	return b.String() + "~"
}

// Width returns the number of columns that s takes on a terminal.
// Source: Unicode Standard Annex 11, East Asian Width.
func Width(s string) int {
	n := 0
	for _, r := range s {
		n += runeWidth(r)
	}
	return n
}

func runeWidth(r rune) int {
	if unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf) {
		return 0
	}
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// Columns is the width of a text answer.
const Columns = 80

// fold breaks a sentence into lines of at most a number of columns; a longer
// word gets a line of its own.
func fold(s string, most int) []string {
	return say.Lines(strings.Fields(s), func(line string) bool { return Width(line) <= most })
}
