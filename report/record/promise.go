package record

import (
	"fmt"
	"math"

	"quietmount/report/answer"
	"quietmount/report/say"
	"quietmount/report/sheet"
)

// promise compares the steady part of the finished craft with the map's promise,
// or states why that was not done.
func (m *sheetMaker) promise() []sheet.Block {
	a := m.o.Promise
	if a == nil {
		if m.o.NotCompared == "" {
			return nil
		}
		return []sheet.Block{sheet.Text{Lead: "The steady part was not compared with the map.", Body: sentences([]string{m.o.NotCompared})[0]}}
	}
	return []sheet.Block{
		sheet.Text{Lead: say.YesNo(a.Kept, "The steady part is what the map promised.", "The steady part is not what the map promised."), Body: sentences([]string{a.Why})[0]},
		promiseTable(*a),
		sheet.Text{Small: true, Body: "Estimate ± one standard uncertainty a component. That of the promise includes what iron magnetised by the field may add. " +
			"The p-value is the chance of a difference at least as large if the promise holds (chi square, three degrees of freedom); under 0.05 it does not."},
	}
}

// promiseTable compares the vectors.
func promiseTable(a answer.Promise) sheet.Table {
	t := sheet.Table{Columns: []sheet.Column{{Name: "steady part", Words: true}, {Name: "x", Unit: "µT"}, {Name: "y", Unit: "µT"}, {Name: "z", Unit: "µT"}, {Name: "|d|", Unit: "µT"}}}
	row := func(name string, v, su answer.Vec, length float64) {
		cells := []string{name}
		for i := range v {
			cells = append(cells, minus(fmt.Sprintf("%.2f", say.Tidy(v[i])+0))+fmt.Sprintf(" ± %.2f", su[i]))
		}
		t.Rows = append(t.Rows, sheet.Row{Cells: append(cells, fmt.Sprintf("%.2f", length))})
	}
	var off, offSU answer.Vec
	for i := range off {
		off[i], offSU[i] = a.Found[i]-a.Predicted[i], math.Hypot(a.FoundSU[i], a.PredictedSU[i])
	}
	row("promised by the map", a.Predicted, a.PredictedSU, length(a.Predicted))
	row("measured by turning the finished craft", a.Found, a.FoundSU, length(a.Found))
	row("difference", off, offSU, length(off))
	return t
}

func length(v answer.Vec) float64 { return math.Hypot(math.Hypot(v[0], v[1]), v[2]) }
