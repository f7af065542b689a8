package answer

import (
	"cmp"
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

	untrusted, open string // what failed, without a lead
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
	a.untrusted = sentenceOf(face, gate.Causes(gate.Untrusted(all)))
	if a.untrusted == "" {
		a.open = sentenceOf(face, gate.Causes(gate.Open(all)))
	}
	return a
}

// sentenceOf returns what failed; empty where nothing did.
func sentenceOf(face words.Face, failed []gate.Check) string {
	if len(failed) == 0 {
		return ""
	}
	each := make([]string, len(failed))
	for i, c := range failed {
		each[i] = face.Say(c.Why)
	}
	return strings.Join(each, "; ") + "."
}

// Untrusted opens an answer whose measurements failed a check; empty: none did.
func (c Checked) Untrusted() string { return led("Not to be trusted: ", c.untrusted) }

func led(lead, sentence string) string {
	if sentence == "" {
		return ""
	}
	return lead + sentence
}

// Reason is Headline without its lead, for a place that has one of its own.
func (c Checked) Reason() string { return cmp.Or(c.untrusted, c.open) }

// Headline opens a verdict on a spot: what failed, or what was not measured; empty
// where nothing did.
func (c Checked) Headline() string {
	return cmp.Or(c.Untrusted(), led("Open: ", c.open))
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
