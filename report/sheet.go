package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"

	"quietmount/survey/findings"
)

//go:embed sheet/sheet.html.tmpl
var sheetTemplate string

//go:embed sheet/sheet.css
var sheetCSS string

// sheetView is what the template of the sheet shows, section by section.
type sheetView struct {
	Craft, Survey string
	Style         template.CSS
	Verdict       verdictView
	Spots         *spotsView
	Maps          []template.HTML
	Stations      []stationView
	Finish        *finishView
	Conditions    conditionsView
	Runs          runsView
	LeftOut       []leftOutView
	Methods       []string
	Stamp         stampView
}

// Sheet is the record sheet: one HTML file that needs nothing else, no script,
// fit to be printed on A4 or read on a phone. The ranking may be nil where
// nothing could be ranked. The same input gives the same bytes.
func Sheet(f *findings.Findings, ranking *findings.Ranking, o RecordOptions) ([]byte, error) {
	maps, err := sheetMaps(f, ranking)
	if err != nil {
		return nil, fmt.Errorf("record sheet: %w", err)
	}
	view := sheetView{
		Craft: named(f.Craft.Name), Survey: f.Date, Style: template.CSS(sheetCSS),
		Verdict: verdictOf(f, ranking), Spots: spotsOf(f, ranking), Maps: maps,
		Stations: stationViews(f), Conditions: conditionsOf(f), Runs: runsOf(f),
		LeftOut: leftOutViews(f, o.Problems), Methods: methods(f), Stamp: stampOf(f, o),
	}
	if view.Finish, err = finishOf(f.Craft.Name, o); err != nil {
		return nil, fmt.Errorf("record sheet: %w", err)
	}
	t, err := template.New("sheet").Parse(sheetTemplate + finishTemplate)
	if err != nil {
		return nil, fmt.Errorf("record sheet: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, view); err != nil {
		return nil, fmt.Errorf("record sheet: %w", err)
	}
	return b.Bytes(), nil
}

// sheetMaps are the maps of the parts that were measured; the magnitudes only
// where there is no other.
func sheetMaps(f *findings.Findings, ranking *findings.Ranking) ([]template.HTML, error) {
	var out []template.HTML
	for _, part := range mappedParts(f) {
		if part == PartMagnitude && len(out) > 0 {
			continue
		}
		p, err := Map(f, ranking, MapOptions{Part: part})
		if err != nil {
			return nil, err
		}
		s, err := p.svg()
		if err != nil {
			return nil, err
		}
		out = append(out, template.HTML(s)) // our own drawing: every text in it is escaped
	}
	return out, nil
}
