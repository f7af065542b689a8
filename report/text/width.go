package text

import (
	"strings"
	"unicode"

	"golang.org/x/text/width"
)

// Clipped cuts a name to a width and marks the cut.
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

// Width is the number of columns that s takes on a terminal.
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

// Columns is how wide a text answer may be.
const Columns = 80

// fold breaks a sentence into lines of at most a number of columns; a longer
// word stands alone.
func fold(s string, most int) []string {
	var lines []string
	line := ""
	for w := range strings.FieldsSeq(s) {
		switch {
		case line == "":
			line = w
		case Width(line)+1+Width(w) <= most:
			line += " " + w
		default:
			lines, line = append(lines, line), w
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
