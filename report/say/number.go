package say

import (
	"fmt"
	"math"
	"strconv"
)

// Signed writes a number to a tenth with its sign; nothing has none.
func Signed(v float64) string {
	if s := fmt.Sprintf("%+.1f", v); s != "-0.0" && s != "+0.0" {
		return s
	}
	return "0.0"
}

// Short writes a number of a scale without needless digits.
func Short(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Counted is "1 error" or "3 errors".
func Counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// Shown prints a number with some decimals, or a dash where there is none.
func Shown(v *float64, decimals int) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.*f", decimals, *v)
}

// Tidy rounds to nine significant digits, so that answers read well and do
// not depend on the last bit of a processor's arithmetic.
func Tidy(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	out, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
	if err != nil {
		return v // rounded up beyond the largest number
	}
	return out
}
