// Package remark holds what a computation, a file or a walk has to say beside
// its numbers: a warning, a cause, a caution, a thing to do next. A remark is a
// code with its numbers and its place. It is no sentence: package report/words
// makes the sentence, one for the terminal and one for the page, and nothing
// ever reads a sentence back.
//
// Start at [New]; [Remark.At] adds the place.
package remark

import (
	"slices"
	"strings"
)

// Remark is one thing to say.
type Remark struct {
	// Code is a stable name for scripts and for the words: the topic, a dot and
	// the name within the topic, such as "guide.unsteady". Where a name has
	// several sentences, a colon and a word tell them apart: "guide.moved:tipped".
	Code   string `json:"code"`
	Place  Place  `json:"place,omitzero"`
	Values Values `json:"values,omitempty"`
}

// Values are the numbers and names of a remark. Keys carry the unit
// ("by_ut", "after_s", "p_value"); a value is a number, a string, a bool, an
// error that is worded with the remark, or a slice of strings, numbers, remarks or
// survey.FromMark, such as what a guess rests on or what a place is measured from.
type Values map[string]any

// Place says what a remark is about. Zero fields do not apply.
type Place struct {
	File    string `json:"file,omitempty"`
	Line    int    `json:"line,omitempty"` // from 1
	Run     int    `json:"run,omitempty"`
	Capture int    `json:"capture,omitempty"`
	Station string `json:"station,omitempty"`
	Load    string `json:"load,omitempty"`
	Part    string `json:"part,omitempty"`
}

// New returns a remark with at most one set of values. The code is a constant,
// so that a test can hold the words against the code that needs them.
func New(code string, values ...Values) Remark {
	r := Remark{Code: code}
	if len(values) > 0 {
		r.Values = values[0]
	}
	return r
}

// At returns r with its place.
func (r Remark) At(p Place) Remark {
	r.Place = p
	return r
}

// Topic returns the part of the code before the dot.
func (r Remark) Topic() string {
	topic, _, _ := strings.Cut(r.Code, ".")
	return topic
}

// Name returns the part of the code after the dot and before a colon.
func (r Remark) Name() string {
	_, name, _ := strings.Cut(r.Code, ".")
	name, _, _ = strings.Cut(name, ":")
	return name
}

// IsZero reports whether there is nothing to say.
func (r Remark) IsZero() bool { return r.Code == "" }

// Has reports whether a remark of that code is among rs.
func Has(rs []Remark, code string) bool {
	return slices.ContainsFunc(rs, func(r Remark) bool { return r.Code == code })
}
