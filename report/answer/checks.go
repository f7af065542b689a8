package answer

import (
	"strings"

	"quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey/gate"
)

// Check is one question that every survey is asked before anything is promised.
type Check struct {
	Code  gate.Code `json:"code"`
	OK    *bool     `json:"ok"` // null: it could not be told
	Why   string    `json:"why"`
	Coded *Coded    `json:"why_coded"` // null: nothing to say
}

// Checked are the checks that go with an answer. Untrusted is what opens its text
// where the measurements cannot be believed, Open where something was not measured
// at all; both are empty where all is well.
type Checked struct {
	Checks []Check `json:"checks"`

	untrusted, open string
}

// ChecksOf returns checks in the form of an answer, worded for a face.
func ChecksOf(face words.Face, all []gate.Check) Checked {
	a := Checked{Checks: []Check{}}
	for _, c := range all {
		k := Check{Code: c.Code}
		if c.State != gate.Abstained {
			k.OK = new(c.State == gate.Passed)
		}
		if !c.Why.IsZero() {
			k.Why, k.Coded = face.Say(c.Why), new(CodedOf(face, c.Why))
		}
		a.Checks = append(a.Checks, k)
	}
	a.untrusted = sentenceOf(face, "Not to be trusted: ", gate.Causes(gate.Untrusted(all)))
	if a.untrusted == "" {
		a.open = sentenceOf(face, "Open: ", gate.Causes(gate.Open(all)))
	}
	return a
}

// sentenceOf returns what failed behind a lead; empty where nothing did.
func sentenceOf(face words.Face, lead string, failed []gate.Check) string {
	if len(failed) == 0 {
		return ""
	}
	each := make([]string, len(failed))
	for i, c := range failed {
		each[i] = face.Say(c.Why)
	}
	return lead + strings.Join(each, "; ") + "."
}

// Untrusted opens an answer whose measurements failed a check; empty: none did.
func (c Checked) Untrusted() string { return c.untrusted }

// Headline opens a verdict on a spot: what failed, or what was not measured; empty
// where nothing did.
func (c Checked) Headline() string {
	if c.untrusted != "" {
		return c.untrusted
	}
	return c.open
}

// Near returns the remarks of checks that passed close to a limit, as sentences.
func (c Checked) Near() []string {
	var out []string
	for _, k := range c.Checks {
		if k.OK != nil && *k.OK && k.Why != "" {
			out = append(out, say.Capital(k.Why)+".")
		}
	}
	return out
}
