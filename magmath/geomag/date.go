package geomag

import (
	"fmt"
	"strings"
	"time"
)

// DecimalYear returns t as a decimal year in UTC: the year plus the share of
// it that has passed, by that year's own length. Midnight of the n-th day gives
// year + (n-1)/days.
//
// Source: the rule of the published WMM software (day of the year less one over
// 365 or 366), continued through the day.
func DecimalYear(t time.Time) float64 {
	t = t.UTC()
	start := time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	days := start.AddDate(1, 0, 0).Sub(start).Hours() / 24
	return float64(t.Year()) + t.Sub(start).Hours()/24/days
}

// DateError is a date that could not be read.
type DateError struct {
	Text string
	Why  string
}

func (e *DateError) Error() string {
	return fmt.Sprintf("date %q: %s; write 2026-06-01 or a decimal year such as 2026.5", e.Text, e.Why)
}

// ParseDate reads YYYY-MM-DD, or a decimal year of four digits with or without a
// fraction, from 1900 to 2100, and returns the decimal year. Anything else, a
// blank included, is a *DateError.
func ParseDate(s string) (float64, error) {
	year, err := parseDate(s)
	if err != nil {
		return 0, err
	}
	if year < 1900 || year > 2100 {
		return 0, &DateError{s, "the year is not between 1900 and 2100"}
	}
	return year, nil
}

func parseDate(s string) (float64, error) {
	if len(s) == 10 && s[4] == '-' && s[7] == '-' {
		t, err := time.Parse(time.DateOnly, s)
		if err != nil {
			return 0, &DateError{s, "there is no such day"}
		}
		return DecimalYear(t), nil
	}
	whole, fraction, point := strings.Cut(s, ".")
	if strings.Contains(s, ",") {
		return 0, &DateError{s, "a decimal year takes a point, not a comma"}
	}
	if len(whole) != 4 || (point && fraction == "") || strings.Trim(whole+fraction, "0123456789") != "" {
		return 0, &DateError{s, "neither a day nor a decimal year"}
	}
	year, ok := decimal(s)
	if !ok {
		return 0, &DateError{s, "too many digits"}
	}
	return year, nil
}
