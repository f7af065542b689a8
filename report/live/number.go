package live

import (
	"math"
	"strconv"
)

// number writes v with so many digits after the point, for templates; a dash
// where there is none. A zero carries no sign.
func number(digits int, v any) string {
	var x float64
	switch v := v.(type) {
	case float64:
		x = v
	case *float64:
		if v == nil {
			return "–"
		}
		x = *v
	case int:
		x = float64(v)
	default:
		return "–"
	}
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "–"
	}
	text := strconv.FormatFloat(x, 'f', digits, 64)
	if zero, err := strconv.ParseFloat(text, 64); err == nil && zero == 0 {
		return strconv.FormatFloat(0, 'f', digits, 64)
	}
	return text
}
