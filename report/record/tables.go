package record

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"quietmount/report/answer"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/report/text"
	"quietmount/report/words"
)

// spots returns the table of the ranking.
func (m *sheetMaker) spots() sheet.Section {
	if len(m.rank.Spots) == 0 {
		return sheet.Section{}
	}
	t := sheet.Table{Columns: []sheet.Column{
		{Name: "spot"}, {Name: "x", Unit: "mm"}, {Name: "y", Unit: "mm"}, {Name: "z", Unit: "mm"}, {Name: "height", Unit: "mm"}, {Name: "nearest station", Words: true},
		{Name: "shifting error", Unit: "degrees"}, {Name: "95 % under", Unit: "degrees"}, {Name: "steady |d|", Unit: "µT"}, {Name: "95 % under", Unit: "µT"},
		{Name: "placement tolerance", Unit: "mm"}, {Name: "cable", Unit: "mm"},
	}}
	for _, s := range m.rank.Spots {
		shifting, steady := answer.DegreesOf(s.Shifting), answer.MicroteslaOf(s.SteadyUT)
		row := sheet.Row{Remark: strings.Join(slices.DeleteFunc([]string{s.Place, s.Remarks()}, func(s string) bool { return s == "" }), "; "), Cells: []string{
			fmt.Sprint(s.Rank), mm(s.Xmm), mm(s.Ymm), mm(s.Zmm), say.Short(s.HeightMM), orDash(s.NearestStation), shifting[0], shifting[1], steady[0], steady[1],
			answer.Whole(s.PlacementToleranceMM), answer.Whole(s.CableMM),
		}}
		for i := range row.Cells {
			row.Cells[i] = dash(row.Cells[i])
		}
		if at := m.subject.spot; at != nil && math.Hypot(at.At.X-s.Xmm, at.At.Y-s.Ymm) < 0.5 && math.Abs(at.HeightMM-s.HeightMM) < 0.5 {
			row.Strong = true
		}
		t.Rows = append(t.Rows, row)
	}
	words := "Places are the surface under the middle of the module's foot, in millimetres from the datum: x to the nose, y to the right, z down. Heading errors are for " + m.rank.HeadingAt + ". " + m.rank.LevelWords()
	if first := m.rank.Spots[0]; len(first.WorstCombination) > 0 {
		combination := say.Combination(first.WorstCombination, first.WorstReversed)
		words += " The loads with the largest effect at spot 1: " + say.Listed(combination) + "."
	}
	blocks := []sheet.Block{t, sheet.Text{Small: true, Body: words}}
	if x := m.rank.ExcludedWords(); x != "" {
		blocks = append(blocks, sheet.Text{Small: true, Body: x})
	}
	if costs := m.rank.CostWords(); len(costs) > 0 {
		blocks = append(blocks, sheet.Text{Lead: "What a constraint costs:", Body: strings.Join(costs, " ")})
	}
	return sheet.Section{Title: "Spots, the quietest first", Blocks: blocks}
}

// stations returns the table of what was measured, the base station first.
func (m *sheetMaker) stations() sheet.Section {
	a := answer.NewMap(words.Page, m.f, m.checks)
	all := a.Stations
	if a.Base != nil {
		base := *a.Base
		base.Name = "base " + base.Name
		all = append([]answer.Station{base}, all...)
	}
	if len(all) == 0 {
		return sheet.Section{}
	}
	t := sheet.Table{Dense: true, Columns: []sheet.Column{
		{Name: "station", Words: true}, {Name: "x", Unit: "mm"}, {Name: "y", Unit: "mm"}, {Name: "z", Unit: "mm"}, {Name: "captures"},
		{Name: "steady |d|", Unit: "µT"}, {Name: "steady error", Unit: "degrees"}, {Name: "95 % under", Unit: "degrees"},
		{Name: "shifting error", Unit: "degrees"}, {Name: "95 % under", Unit: "degrees"}, {Name: "|B| differs by", Unit: "µT"},
	}}
	for _, s := range all {
		cells := answer.StationRow(s)
		cells = append(cells[:4], append([]string{fmt.Sprint(s.Count)}, cells[4:]...)...)
		for i := 1; i < len(cells); i++ {
			cells[i] = dash(cells[i])
		}
		t.Rows = append(t.Rows, sheet.Row{Cells: cells})
	}
	return sheet.Section{Title: "Stations", Blocks: []sheet.Block{t,
		sheet.Text{Small: true, Body: "A dash: not measured. “any”: the disturbance is as large as the horizontal field, and the compass can point anywhere. The vectors and their covariances are in stations.csv and map.json."}}}
}

// causes returns the table of the sources of the disturbance.
func (m *sheetMaker) causes() sheet.Section {
	if m.sources == nil {
		return sheet.Section{}
	}
	a := answer.NewSources(words.Terminal, m.f, m.sources)
	t := sheet.Table{Columns: []sheet.Column{
		{Name: "source", Words: true}, {Name: "in", Words: true}, {Name: "share", Unit: "%"}, {Name: "x", Unit: "mm"}, {Name: "y", Unit: "mm"}, {Name: "z", Unit: "mm"}, {Name: "±", Unit: "mm"},
		{Name: "strength", Words: true}, {Name: "keep away", Unit: "mm"}, {Name: "for 94 nT", Unit: "mm"}, {Name: "for 314 nT", Unit: "mm"},
	}}
	for _, s := range a.Sources {
		cells := s.Row()
		cells = append([]string{cells[0], answer.StateWords(s.State)}, cells[1:]...)
		for i := 2; i < len(cells); i++ {
			cells[i] = dash(cells[i])
		}
		t.Rows = append(t.Rows, sheet.Row{Cells: cells})
	}
	var said text.Sentences
	for _, s := range a.States {
		a.SayState(&said, s)
	}
	var blocks []sheet.Block
	if len(t.Rows) > 0 {
		blocks = append(blocks, t)
	}
	blocks = append(blocks, sheet.List{Items: sentences(said)})
	if len(t.Rows) > 0 {
		blocks = append(blocks, sheet.Text{Small: true, Body: "Keep-away distances are for the worst orientation, upper bounds that hold with 95 %: under the builder's limit, and under the published limits of a standard (94 nT) and a reduced (314 nT) compass-safe distance."})
	}
	return sheet.Section{Title: "What causes it", Blocks: blocks}
}

// mm returns whole millimetres.
func mm(v float64) string { return minus(fmt.Sprintf("%.0f", math.Round(v)+0)) }

// dash replaces a lone hyphen, which means not measured, by a dash, and that of a
// negative number by a minus sign.
func dash(s string) string {
	if s == "-" {
		return "–"
	}
	return minus(s)
}

// minus replaces the hyphen of a negative number by a minus sign.
func minus(s string) string {
	if len(s) > 1 && s[0] == '-' && s[1] >= '0' && s[1] <= '9' {
		return "−" + s[1:]
	}
	return s
}
