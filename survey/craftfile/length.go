package craftfile

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// lengthUnit is a unit of ParseLength in millimetres. The inch is exact.
// Source: international yard and pound agreement of 1959 (1 in = 25.4 mm).
func lengthUnit(s string) (float64, bool) {
	switch strings.ToLower(s) {
	case "", "mm":
		return 1, true
	case "cm":
		return 10, true
	case "m":
		return 1000, true
	case "in", "inch", "inches", `"`, "″", "”", "''":
		return 25.4, true
	case "ft", "foot", "feet", "'", "′", "’":
		return 304.8, true
	}
	return 0, false
}

var (
	lengthForm    = regexp.MustCompile(`^(?:([0-9]*[.,]?[0-9]*)|(?:([0-9]+)[ -])?([0-9]+)/([0-9]+))\s*([^0-9\s.,]*)$`)
	lengthGrouped = regexp.MustCompile(`^[1-9][0-9]{0,2},[0-9]{3}$`)
)

// ParseLength reads a length as people write it and answers in millimetres:
// "305", "305 mm", "30,5 cm", "0.7 m", "12in", `12"`, `7 1/2"`, "2 ft". No
// unit means millimetres; a comma is a decimal comma. "1,200" could be either
// and is refused, as is anything negative or not finite.
func ParseLength(s string) (float64, error) {
	s = strings.TrimSpace(s)
	m := lengthForm.FindStringSubmatch(s)
	if m == nil || !strings.ContainsAny(m[1]+m[3], "0123456789") {
		return 0, fmt.Errorf(`%q is no length: write 305, "30.5 cm" or "12 in"`, short(s))
	}
	if lengthGrouped.MatchString(m[1]) {
		return 0, fmt.Errorf("%q can be read in two ways: write %s or %s", short(s),
			strings.Replace(m[1], ",", "", 1), strings.Replace(m[1], ",", ".", 1))
	}
	unit, ok := lengthUnit(m[5])
	if !ok {
		return 0, fmt.Errorf("%q is no unit of length: write mm, cm, m, in or ft", short(m[5]))
	}
	v, err := lengthNumber(m[1], m[2], m[3], m[4])
	if v *= unit; err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%q is no length", short(s))
	}
	return v, nil
}

// lengthNumber is a decimal, or else whole plus over/under.
func lengthNumber(decimal, whole, over, under string) (float64, error) {
	if decimal != "" {
		return strconv.ParseFloat(strings.Replace(decimal, ",", ".", 1), 64)
	}
	if whole == "" {
		whole = "0"
	}
	w, errW := strconv.ParseFloat(whole, 64)
	a, errA := strconv.ParseFloat(over, 64)
	b, errB := strconv.ParseFloat(under, 64)
	if errW != nil || errA != nil || errB != nil || b == 0 {
		return 0, strconv.ErrSyntax
	}
	return w + a/b, nil
}
