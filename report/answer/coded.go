package answer

import (
	"math"
	"slices"

	"quietmount/magmath/remark"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
)

// Coded is a remark as JSON: its code for scripts, its sentence for people.
type Coded struct {
	Code   string        `json:"code"`
	Place  remark.Place  `json:"place,omitzero"`
	Values remark.Values `json:"values,omitempty"` // null where a number is not finite
	Text   string        `json:"text"`
}

// CodedOf returns a remark with its sentence on a face.
func CodedOf(face words.Face, r remark.Remark) Coded {
	c := Coded{Code: r.Code, Place: r.Place, Text: face.Say(r)}
	if len(r.Values) > 0 {
		c.Values = make(remark.Values, len(r.Values))
	}
	for k, v := range r.Values {
		c.Values[k] = finite(face, v)
	}
	return c
}

// CodedAll returns remarks with their sentences on a face, in their order; never
// nil, so that an empty list is [] in JSON.
func CodedAll(face words.Face, rs []remark.Remark) []Coded {
	out := make([]Coded, 0, len(rs))
	for _, r := range rs {
		out = append(out, CodedOf(face, r))
	}
	return out
}

// finite returns a value of a remark in a form that encoding/json accepts: nil
// in place of a number that is not finite, remarks with their sentences, an error
// as its sentence.
func finite(face words.Face, v any) any {
	switch x := v.(type) {
	case float64:
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return say.Tidy(x)
	case []remark.Remark:
		return CodedAll(face, x)
	case error:
		return face.Cause(x)
	case []float64:
		out := make([]*float64, len(x))
		for i, f := range x {
			out[i] = Number(f)
		}
		return out
	}
	return v
}

// Cautions are the warnings that go with an answer, in words and in codes.
type Cautions struct {
	Warnings []string `json:"warnings"`
	Coded    []Coded  `json:"warnings_coded"`

	together []string // the same for readers, each caution once for all its places
}

// cautions returns remarks as warnings, in their order.
func cautions(face words.Face, all ...[]remark.Remark) Cautions {
	rs := slices.Concat(all...)
	return Cautions{face.All(rs), CodedAll(face, rs), face.Together(rs)}
}

// Together returns the warnings for a reader: one that holds for several captures or
// loads stands once.
func (c Cautions) Together() []string { return c.together }

// holds reports whether a remark of that code is among the warnings.
func (c Cautions) holds(code string) bool {
	return slices.ContainsFunc(c.Coded, func(w Coded) bool { return w.Code == code })
}

// print prints the warnings as sentences.
func (c Cautions) print(p text.Sayer) {
	for _, s := range c.together {
		p.Sentence("Caution: " + s)
	}
}
