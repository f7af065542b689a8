package live

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"quietmount/survey"
)

// Form is what a page sent: the fields of a form or of a query. Its methods
// check what they read; the error is a *FieldError.
type Form struct{ values url.Values }

// FieldError says which field cannot be taken and why.
type FieldError struct{ Field, Msg string }

// Error is the field and the message.
func (e *FieldError) Error() string { return e.Field + ": " + e.Msg }

func badField(field, format string, args ...any) error {
	return &FieldError{field, fmt.Sprintf(format, args...)}
}

// Has reports whether a field is there and not empty.
func (f Form) Has(name string) bool { return strings.TrimSpace(f.values.Get(name)) != "" }

// Raw is a field as it was sent; empty if it was not.
func (f Form) Raw(name string) string { return f.values.Get(name) }

// All are the values of a field that may be sent several times, at most most.
func (f Form) All(name string, most int) ([]string, error) {
	all := f.values[name]
	if len(all) > most {
		return nil, badField(name, "at most %d", most)
	}
	return slices.Clone(all), nil
}

// Text is a field of at most most characters, without blanks around it.
func (f Form) Text(name string, most int) (string, error) {
	t := strings.TrimSpace(f.values.Get(name))
	if !utf8.ValidString(t) || strings.ContainsRune(t, 0) {
		return "", badField(name, "no plain text")
	}
	if utf8.RuneCountInString(t) > most {
		return "", badField(name, "at most %d characters", most)
	}
	return t, nil
}

// Pick is a field that must be one of some words.
func (f Form) Pick(name string, known ...string) (string, error) {
	t := strings.TrimSpace(f.values.Get(name))
	if !slices.Contains(known, t) {
		return "", badField(name, "%.40q: want one of %s", t, strings.Join(known, ", "))
	}
	return t, nil
}

// On reports whether a box is ticked.
func (f Form) On(name string) bool {
	v := f.values.Get(name)
	return v == "on" || v == "1" || v == "true"
}

// Int is a whole number within bounds; an empty field is def.
func (f Form) Int(name string, def, low, high int) (int, error) {
	t := strings.TrimSpace(f.values.Get(name))
	if t == "" {
		return def, nil
	}
	n, err := strconv.Atoi(t)
	if err != nil || n < low || n > high {
		return 0, badField(name, "a whole number from %d to %d", low, high)
	}
	return n, nil
}

// Number is a number within bounds, with a point or a comma; nil if the field is
// empty.
func (f Form) Number(name string, low, high float64) (*float64, error) {
	t := strings.TrimSpace(f.values.Get(name))
	if t == "" {
		return nil, nil
	}
	v, ok := parseNumber(t)
	if !ok || v < low || v > high {
		return nil, badField(name, "a number from %g to %g", low, high)
	}
	return &v, nil
}

// parseNumber reads a plain decimal number, with a comma too.
func parseNumber(t string) (v float64, ok bool) {
	if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") {
		t = strings.Replace(t, ",", ".", 1)
	}
	if len(t) > 32 {
		return 0, false
	}
	return survey.Number(t)
}

// LengthMM is a length in millimetres, in any unit that survey.ParseLength
// takes; nil if the field is empty.
func (f Form) LengthMM(name string) (*float64, error) {
	t := strings.TrimSpace(f.values.Get(name))
	if t == "" {
		return nil, nil
	}
	if len(t) > 40 {
		return nil, badField(name, "too long for a length")
	}
	v, err := survey.ParseLength(t)
	if err != nil {
		return nil, badField(name, "%v", err)
	}
	return &v, nil
}
