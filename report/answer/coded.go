package answer

import (
	"quietmount/magmath/remark"
	"quietmount/report/words"
)

// Coded is a remark as JSON: its code, place and values for a script, and the
// sentence that the terminal shows.
type Coded struct {
	Code   string         `json:"code"`
	Place  remark.Place   `json:"place,omitzero"`
	Values map[string]any `json:"values"`
	Text   string         `json:"text"`
}

// CodedOf returns a remark as JSON. NaN and infinities in its values become null.
func CodedOf(r remark.Remark) Coded {
	c := Coded{Code: r.Code, Place: r.Place, Values: map[string]any{}, Text: words.Terminal.Say(r)}
	for k, v := range r.Values {
		switch v := v.(type) {
		case float64:
			c.Values[k] = Number(v)
		case []float64:
			all := make([]*float64, len(v))
			for i, x := range v {
				all[i] = Number(x)
			}
			c.Values[k] = all
		default:
			c.Values[k] = v
		}
	}
	return c
}

// CodedAll returns remarks as JSON, in their order; never nil.
func CodedAll(rs []remark.Remark) []Coded {
	out := make([]Coded, 0, len(rs))
	for _, r := range rs {
		out = append(out, CodedOf(r))
	}
	return out
}
