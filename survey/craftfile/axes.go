package craftfile

import (
	"strings"

	"quietmount/magmath"
	"quietmount/survey"
)

// readAxes reads the key axes; nil if it is missing or wrong.
func readAxes(b *table) *magmath.Mat3 {
	if !b.has("axes") {
		return nil
	}
	n := b.node.fields["axes"]
	m, err := axesOf(b, n)
	if err == nil {
		return m
	}
	at := n.at
	if err.Entry >= 0 && err.Entry < len(n.items) {
		at = n.items[err.Entry].at
	}
	b.fail(at, err.Hint, "%s", err.Msg)
	return nil
}

// axesOf is nil without an error where numbers within the list were
// wrong and have been reported.
func axesOf(b *table, n *node) (*magmath.Mat3, *survey.AxesError) {
	var m magmath.Mat3
	var err error
	switch {
	case n.kind == kindText:
		m, err = survey.AxesFromLetters(strings.FieldsFunc(n.text, func(r rune) bool { return strings.ContainsRune(",; \t", r) }))
	case n.kind != kindList || n.blocks:
		err = &survey.AxesError{Entry: -1, Msg: "axes want three signed letters, not " + n.describe(), Hint: `write ["+x", "+y", "+z"]`}
	case len(n.items) == 3 && n.items[0].kind == kindList:
		var d [3][3]float64
		for i, item := range n.items {
			row := b.numbersIn("axes", item, 3, bounds{low: -1.01, high: 1.01})
			if row == nil {
				return nil, nil
			}
			d[i] = [3]float64(row)
		}
		m, err = survey.AxesFromDirections(d)
	default:
		var letters []string
		for _, item := range n.items {
			if item.kind != kindText {
				return nil, &survey.AxesError{Entry: -1, Msg: "axes want three signed letters, not " + item.describe(), Hint: `write ["+x", "+y", "+z"]`}
			}
			letters = append(letters, item.text)
		}
		m, err = survey.AxesFromLetters(letters)
	}
	if bad, ok := err.(*survey.AxesError); ok {
		return nil, bad
	}
	return &m, nil
}
