package say

import (
	"fmt"
	"math"
	"strconv"
)

// Signed returns v to a tenth with its sign; zero has none.
func Signed(v float64) string {
	if s := fmt.Sprintf("%+.1f", v); s != "-0.0" && s != "+0.0" {
		return s
	}
	return "0.0"
}

// Short returns v with as few digits as tell it from other numbers.
func Short(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Shorts returns each number as Short does.
func Shorts(vs []float64) []string {
	out := make([]string, len(vs))
	for i, v := range vs {
		out[i] = Short(v)
	}
	return out
}

// Tenths returns v rounded to a tenth, without a trailing zero.
func Tenths(v float64) string { return Short(math.Round(v*10) / 10) }

// Counted returns a number with its noun: "1 error", "3 errors".
func Counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// Shown returns a number with some decimals, or a hyphen for nil.
func Shown(v *float64, decimals int) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.*f", decimals, *v)
}

// Tidy rounds to nine significant digits, so that answers are readable and do not
// depend on the last bit of a processor's arithmetic. NaN, infinity and what
// would overflow stay as they are.
func Tidy(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	out, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
	if err != nil {
		return v // overflow
	}
	return out
}
