package number

import (
	"math"
	"slices"
	"strconv"
)

// Parse reads a finite number in ordinary decimal notation, like -12.5 or
// 1e-3; ok is false for anything else.
func Parse(text string) (v float64, ok bool) {
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && Finite(v) && Plain(text)
}

// Plain reports whether s is a number in ordinary decimal notation;
// ParseFloat alone takes NaN, Inf, hexadecimal and underscores too.
func Plain[T string | []byte](s T) bool {
	digits := false
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= '0' && c <= '9':
			digits = true
		case c == '+' || c == '-' || c == '.' || c == 'e' || c == 'E':
		default:
			return false
		}
	}
	return digits
}

// Finite reports whether no x is NaN or infinite.
func Finite(x ...float64) bool {
	return !slices.ContainsFunc(x, func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) })
}

// Format returns v in decimal notation without an exponent, with as many digits
// as it needs to read back the same.
func Format(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
