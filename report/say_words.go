package report

import (
	"fmt"
	"strings"

	"quietmount/survey"
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

// named is the name of a craft, or that it has none.
func named(name string) string {
	if strings.TrimSpace(name) == "" {
		return "craft without a name"
	}
	return name
}

// yesNo is a where it is so, else b.
func yesNo(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// upper makes the first letter a capital.
func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// sizeWords are the bounds of a craft: "700 mm long, 360 mm wide".
func sizeWords(c *survey.Craft) string {
	box := c.Body.OutlineMM.Bounds()
	return fmt.Sprintf("%.0f mm long, %.0f mm wide", box.Max.X-box.Min.X, box.Max.Y-box.Min.Y)
}
