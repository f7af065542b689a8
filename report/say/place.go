package say

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"quietmount/survey/sources"
)

const (
	HereMM     = 5   // a shorter offset means the same place to a builder
	leastShare = 0.2 // a component smaller than this share of the offset is left out
)

// Place describes a place by its offset from a part or the datum: "18 mm left of
// the hatch magnet", "40 mm below and 12 mm behind the battery".
func Place(n sources.Nearest) string {
	from := "the datum"
	if n.Part != "" {
		from = "the " + strings.TrimPrefix(n.Part, "the ")
	}
	whole := math.Sqrt(n.Offset.X*n.Offset.X + n.Offset.Y*n.Offset.Y + n.Offset.Z*n.Offset.Z)
	if whole < HereMM {
		return "at " + from
	}
	var parts []string
	add := func(v float64, plus, minus string) {
		if math.Abs(v) < max(1, leastShare*whole) {
			return
		}
		word := plus
		if v < 0 {
			word = minus
		}
		parts = append(parts, fmt.Sprintf("%.0f mm %s", math.Abs(v), word))
	}
	add(n.Offset.Z, "below", "above")
	add(n.Offset.Y, "right", "left")
	add(n.Offset.X, "forward", "behind")
	last := parts[len(parts)-1]
	of := ""
	if !slices.ContainsFunc([]string{"below", "above", "behind"}, func(w string) bool { return strings.HasSuffix(last, w) }) {
		of = "of "
	}
	return Listed(parts) + " " + of + from
}
