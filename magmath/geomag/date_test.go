package geomag

import (
	"errors"
	"math"
	"strconv"
	"testing"
	"time"
)

// plain is v without exponent, exact when read back.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// The rule is the published software's: (day of the year - 1) over the days in
// it. 2024 and 2028 are leap years.
func TestDecimalYear(t *testing.T) {
	zone := time.FixedZone("east", 12*3600)
	for _, c := range []struct {
		at   time.Time
		want float64
	}{
		{time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC), 2025},
		{time.Date(2025, 1, 1, 12, 0, 0, 0, zone), 2025},
		{time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC), 2026 + 151.0/365},
		{time.Date(2028, 3, 1, 0, 0, 0, 0, time.UTC), 2028 + 60.0/366},
		{time.Date(2028, 12, 31, 12, 0, 0, 0, time.UTC), 2028 + 365.5/366},
	} {
		equalWithin(t, c.at.String(), DecimalYear(c.at), c.want, 1e-12)
	}
}

func TestParseDate(t *testing.T) {
	for s, want := range map[string]float64{
		"2026-06-01": 2026 + 151.0/365,
		"2028-02-29": 2028 + 59.0/366,
		"2025":       2025,
		"2027.5":     2027.5,
		"1900":       1900,
		"2100.0":     2100,
	} {
		got, err := ParseDate(s)
		if err != nil {
			t.Errorf("%s: %v", s, err)
		}
		equalWithin(t, s, got, want, 1e-12)
	}
	for _, s := range []string{
		"", "2025-02-29", "2026-13-01", "2026-00-10", "2026-6-1", "26-06-01", "01-06-2026", "2026/06/01", "2026-06-01T00:00:00Z",
		"NaN", "nan.", "inf", "0x7ea", "2_026", "2026.", ".5", "2,026", "2026,5", "2026.5.1", "-2026", "+2026", " 2026", "2026 ",
		"2e3", "1899.9", "2100.1", "9999", "0000", "2026.1111111111111111111111111", "２０２６",
	} {
		if got, err := ParseDate(s); err == nil {
			t.Errorf("%q was read as %g", s, got)
		} else if _, ok := errors.AsType[*DateError](err); !ok {
			t.Errorf("%q: untyped error %v", s, err)
		}
	}
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2026-06-01", "2026.5", "2026", "NaN", "2026-02-30", "2026,5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		year, err := ParseDate(s)
		if err != nil {
			if _, ok := errors.AsType[*DateError](err); !ok {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		if !(year >= 1900 && year <= 2100) {
			t.Fatalf("%q gave %g", s, year)
		}
		again, err := ParseDate(strconv.FormatFloat(year, 'f', 12, 64))
		if err != nil || math.Abs(again-year) > 1e-11 {
			t.Fatalf("%g read back as %g, %v", year, again, err)
		}
	})
}
