package serve

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"quietmount/survey/number"
)

// Form holds the fields of a form or of a query as a page sent them. Its methods
// check what they read; their errors are *FieldErrors.
type Form struct{ Values url.Values }

// FieldError names a field that is refused, and the reason.
type FieldError struct{ Field, Msg string }

// Error returns the field and the reason.
func (e *FieldError) Error() string { return e.Field + ": " + e.Msg }

// BadField returns a *FieldError.
func BadField(field, format string, args ...any) error {
	return &FieldError{field, fmt.Sprintf(format, args...)}
}

// Has reports whether a field was sent and is not blank.
func (f Form) Has(name string) bool { return strings.TrimSpace(f.Values.Get(name)) != "" }

// Raw returns a field as it was sent; empty if it was not.
func (f Form) Raw(name string) string { return f.Values.Get(name) }

// All returns the values of a field that may be sent several times, at most
// most of them.
func (f Form) All(name string, most int) ([]string, error) {
	all := f.Values[name]
	if len(all) > most {
		return nil, BadField(name, "at most %d", most)
	}
	return slices.Clone(all), nil
}

// Text returns a field of at most most characters, without blanks around it.
func (f Form) Text(name string, most int) (string, error) {
	t := strings.TrimSpace(f.Values.Get(name))
	if !utf8.ValidString(t) || strings.ContainsRune(t, 0) {
		return "", BadField(name, "no plain text")
	}
	if utf8.RuneCountInString(t) > most {
		return "", BadField(name, "at most %d characters", most)
	}
	return t, nil
}

// Pick returns a field that must be one of the known words.
func (f Form) Pick(name string, known ...string) (string, error) {
	t := strings.TrimSpace(f.Values.Get(name))
	if !slices.Contains(known, t) {
		return "", BadField(name, "%.40q: want one of %s", t, strings.Join(known, ", "))
	}
	return t, nil
}

// On reports whether a box is ticked.
func (f Form) On(name string) bool {
	v := f.Values.Get(name)
	return v == "on" || v == "1" || v == "true"
}

// Int returns a whole number from low to high; def if the field is empty.
func (f Form) Int(name string, def, low, high int) (int, error) {
	t := strings.TrimSpace(f.Values.Get(name))
	if t == "" {
		return def, nil
	}
	n, err := strconv.Atoi(t)
	if err != nil || n < low || n > high {
		return 0, BadField(name, "a whole number from %d to %d", low, high)
	}
	return n, nil
}

// Number returns a number from low to high, written with a point or a comma; nil
// if the field is empty.
func (f Form) Number(name string, low, high float64) (*float64, error) {
	t := strings.TrimSpace(f.Values.Get(name))
	if t == "" {
		return nil, nil
	}
	plain := t
	if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") {
		plain = strings.Replace(t, ",", ".", 1)
	}
	v, ok := number.Parse(plain)
	if !ok || len(t) > 32 || v < low || v > high {
		return nil, BadField(name, "a number from %g to %g", low, high)
	}
	return &v, nil
}

// Fields reads field after field of a form. The first error stays in Err; what
// is read after it must not be used.
type Fields struct {
	Form
	Err error
}

// read keeps the first error of several fields.
func read[T any](f *Fields, v T, err error) T {
	if f.Err == nil {
		f.Err = err
	}
	return v
}

// Number is Form.Number.
func (f *Fields) Number(name string, low, high float64) *float64 {
	v, err := f.Form.Number(name, low, high)
	return read(f, v, err)
}

// NumberOr is Form.Number with a value for an empty field.
func (f *Fields) NumberOr(name string, otherwise, low, high float64) float64 {
	if v := f.Number(name, low, high); v != nil {
		return *v
	}
	return otherwise
}

// Needed is Form.Number of a field that must not be empty.
func (f *Fields) Needed(name string, low, high float64) float64 {
	v := f.Number(name, low, high)
	if v == nil {
		return read(f, 0.0, BadField(name, "a number from %g to %g is needed", low, high))
	}
	return *v
}

// Int is Form.Int.
func (f *Fields) Int(name string, otherwise, low, high int) int {
	v, err := f.Form.Int(name, otherwise, low, high)
	return read(f, v, err)
}

// Text is Form.Text.
func (f *Fields) Text(name string, most int) string {
	v, err := f.Form.Text(name, most)
	return read(f, v, err)
}

// Pick is Form.Pick.
func (f *Fields) Pick(name string, known ...string) string {
	v, err := f.Form.Pick(name, known...)
	return read(f, v, err)
}
