package report

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"quietmount/report/pdf"
	"quietmount/report/sheet"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// Input is a file that the findings rest on.
type Input struct {
	Name   string // relative to the craft folder, with slashes
	SHA256 string // hex
	Lines  int
}

// RecordOptions are what a record needs besides the findings.
type RecordOptions struct {
	Inputs   []Input
	Problems []survey.Problem
	Unused   []*survey.Run // of the folder, not among the runs that the findings rest on
	Tool     string        // version
	Command  string        // that wrote it
	Paper    pdf.Paper     // zero: A4

	Choice       *survey.Choice       // nil: none was made
	Calibrations []survey.Calibration // those that runs and checks used

	// The newest arrow check and swing of the finished craft, if there are any,
	// and their files.
	Arrow  *ArrowAnswer
	Swing  *SwingAnswer
	Checks []*survey.SwingFile
}

// File is one file of a record.
type File struct {
	Name string
	Data []byte
}

// Record writes everything that belongs into the record folder: the sheet, the
// pictures of what was measured, and the numbers. The ranking may be nil where
// nothing could be ranked. The same input gives the same bytes.
func Record(f *findings.Findings, ranking *findings.Ranking, o RecordOptions) ([]File, error) {
	m := newSheetMaker(f, ranking, o)
	document, err := m.document()
	if err != nil {
		return nil, err
	}
	page, err := sheet.HTML(document)
	if err != nil {
		return nil, err
	}
	paper, err := sheet.PDF(document)
	if err != nil {
		return nil, err
	}
	files := []File{{"sheet.html", page}, {"sheet.pdf", paper}}
	if files, err = recordPictures(files, f, ranking); err != nil {
		return nil, err
	}
	if files, err = recordFinish(files, f.Craft.Name, o); err != nil {
		return nil, err
	}
	return m.numbers(files)
}

// sidePicture is a picture beside the maps of the parts.
type sidePicture struct {
	name string
	draw func() ([]*Picture, error)
}

// sidePictures are those that tell more than the maps themselves.
func sidePictures(f *findings.Findings, ranking *findings.Ranking) []sidePicture {
	if f.Map == nil || f.Map.Steady == nil && len(f.Map.Loads) == 0 {
		return nil
	}
	var out []sidePicture
	if len(f.Map.Loads) > 1 {
		out = append(out, sidePicture{"map-states", func() ([]*Picture, error) { return StatesPictures(f, ranking, MapOptions{}) }})
	}
	if len(f.Craft.Heights) > 1 {
		out = append(out, sidePicture{"map-heights", func() ([]*Picture, error) { return HeightsPictures(f, ranking, MapOptions{}) }})
	}
	out = append(out, sidePicture{"map-standard-error", func() ([]*Picture, error) {
		p, err := StandardErrorPicture(f, MapOptions{})
		return []*Picture{p}, err
	}})
	for _, l := range chartedLoads(f) {
		out = append(out, sidePicture{"load-" + fileWord(l), func() ([]*Picture, error) {
			p, err := LoadChart(f, ranking, LoadChartOptions{Load: l})
			return []*Picture{p}, err
		}})
	}
	return out
}

// mostChartedLoads is how many loads a record draws against their current.
const mostChartedLoads = 4

// chartedLoads are the loads whose field was measured against a current.
func chartedLoads(f *findings.Findings) []string {
	var out []string
	for _, l := range f.Loads {
		if l.CurrentA > 0 && len(out) < mostChartedLoads {
			if _, err := LoadChart(f, nil, LoadChartOptions{Load: l.Name}); err == nil {
				out = append(out, l.Name)
			}
		}
	}
	return out
}

// recordPictures adds each picture in each format.
func recordPictures(files []File, f *findings.Findings, ranking *findings.Ranking) ([]File, error) {
	var err error
	for _, part := range mappedParts(f) {
		var p *Picture
		if p, err = Map(f, ranking, MapOptions{Part: part}); err != nil {
			return nil, err
		}
		if files, err = pictureFiles(files, "map-"+fileWord(part), p); err != nil {
			return nil, err
		}
	}
	for _, side := range sidePictures(f, ranking) {
		pages, err := side.draw()
		if err != nil {
			return nil, err
		}
		for i, p := range pages {
			name := side.name
			if i > 0 {
				name += fmt.Sprintf("-%d", i+1)
			}
			if files, err = pictureFiles(files, name, p); err != nil {
				return nil, err
			}
		}
	}
	return files, nil
}

func pictureFiles(files []File, name string, p *Picture) ([]File, error) {
	for _, format := range []Format{PNG, SVG, PDF} {
		var b bytes.Buffer
		if err := p.Write(&b, format); err != nil {
			return nil, err
		}
		files = append(files, File{name + "." + string(format), b.Bytes()})
	}
	return files, nil
}

// mappedParts are the parts that can be drawn, the shifting one first.
func mappedParts(f *findings.Findings) []string {
	var parts []string
	for _, part := range []string{PartShifting, PartSteady, PartMagnitude} {
		if _, err := quantityOf(f, part); err == nil {
			parts = append(parts, part)
		}
	}
	return parts
}

// numbers adds what the sheet says as CSV and JSON.
func (m *sheetMaker) numbers(files []File) ([]File, error) {
	answers := []struct {
		name  string
		there bool
		write func(w io.Writer) error
	}{
		{"stations.csv", true, func(w io.Writer) error { return WriteStationsCSV(w, m.f) }},
		{"map.json", true, func(w io.Writer) error { return WriteJSON(w, NewMapAnswer(m.f)) }},
		{"spots.csv", m.ranking != nil, func(w io.Writer) error { return WriteSpotsCSV(w, m.ranking) }},
		{"rank.json", m.ranking != nil, func(w io.Writer) error { return WriteJSON(w, m.rank) }},
		{"sources.json", m.sources != nil, func(w io.Writer) error { return WriteJSON(w, NewSourcesAnswer(m.f, m.sources)) }},
		{"prove.json", m.proof != nil, func(w io.Writer) error { return WriteJSON(w, NewProveAnswer(m.f, m.proof, 0)) }},
		{"balance.json", m.balanced != nil, func(w io.Writer) error { return WriteJSON(w, NewBalanceAnswer(m.f.Craft.Name, m.balanced)) }},
	}
	for _, a := range answers {
		if !a.there {
			continue
		}
		var b bytes.Buffer
		if err := a.write(&b); err != nil {
			return nil, fmt.Errorf("%s: %w", a.name, err)
		}
		files = append(files, File{a.name, b.Bytes()})
	}
	return files, nil
}

// fileWord makes a word fit for a file name.
func fileWord(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(s))
}
