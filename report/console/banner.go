package console

import "strings"

// banner frames a short text, its letters apart, so that it can be read from
// across the bench on any terminal.
func banner(text string) string {
	letters := make([]string, 0, len(text))
	for _, r := range text {
		letters = append(letters, string(r))
	}
	inner := "   " + strings.Join(letters, " ") + "   "
	edge := "  +" + strings.Repeat("-", len([]rune(inner))) + "+"
	return edge + "\n  |" + inner + "|\n" + edge
}
