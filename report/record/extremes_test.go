package record

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/report/internal/example"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// For any craft file the sheet states what is weak.
func TestSheetOfExtremes(t *testing.T) {
	quiet := example.Bump{Peak: 1, Width: 90, Ground: 0.2, SD: 0.05}
	strange := example.Board(300, 500, 100)
	strange.Name = strings.Repeat("长", 40)
	strange.Module.Name = strings.Repeat("Кружка", 7)
	strange.Singles = []survey.Station{{Name: strings.Repeat("測", 40), At: r3.Vec{X: 33}}, {Name: strings.Repeat("N", 40), At: r3.Vec{X: -77, Y: 70}}}
	strange.Body.Fitted = []string{strings.Repeat("люк закрыт ", 4), strings.Repeat("é", 40)}
	for _, c := range []struct {
		name  string
		craft *survey.Craft
		field evaluate.Field
		spot  *rank.Spot
		edit  func(f *evaluate.Findings)
		want  []string
	}{
		{name: "one station", craft: example.Board(200, 60, 1000), field: quiet, want: []string{"Only 1 station was measured: the map between them is little more than a guess."}},
		{name: "hundreds of stations", craft: example.Board(600, 500, 30), field: quiet, want: []string{"Q21", "Stations"}},
		{name: "strange names", craft: strange, field: quiet, want: []string{strings.Repeat("长", 40), strings.Repeat("測", 40), strings.Repeat("N", 40)}},
		{name: "all over budget", craft: example.Board(300, 100, 40), field: example.Bump{Ground: 60, SD: 1}, want: []string{"No spot qualifies", "No spot keeps all limits.", "any"},
			spot: &rank.Spot{Rank: 1, ExtrapolationFactor: 4, Interpolated: true}},
		{name: "no background", craft: example.Board(300, 100, 40), field: quiet, edit: func(f *evaluate.Findings) {
			f.Basis, f.Map.Steady = evaluate.BasisMagnitude, nil
		}, want: []string{"No background was measured"}},
		{name: "nothing described", craft: &survey.Craft{}, want: []string{"No station was measured.", "names no load", "craft without a name"}, edit: func(f *evaluate.Findings) { f.Map = nil }},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := example.Findings(c.craft, c.field, c.field)
			if c.edit != nil {
				c.edit(f)
			}
			var ranking *rank.Ranking
			if c.spot != nil {
				ranking = &rank.Ranking{Spots: []rank.Spot{*c.spot}, Why: []remark.Remark{remark.New("rank.all_over_budget", remark.Values{"budget_deg": 5., "least_deg": 9.})}, ByShifting: true}
			}
			d := documentOf(t, f, ranking, sheetOptions())
			page, err := sheet.HTML(d)
			if err != nil {
				t.Fatal(err)
			}
			file, err := sheet.PDF(d)
			if err != nil {
				t.Fatal(err)
			}
			for _, want := range c.want {
				if !bytes.Contains(bytes.ReplaceAll(page, []byte(string(say.NoBreak)), []byte(" ")), []byte(want)) {
					t.Errorf("%q is missing", want)
				}
			}
			if dir := os.Getenv("QUIETMOUNT_PICTURES"); dir != "" {
				base := filepath.Join(dir, "sheet-"+fileWord(c.name))
				_ = os.WriteFile(base+".html", page, 0o666)
				_ = os.WriteFile(base+".pdf", file, 0o666)
			}
		})
	}
}
