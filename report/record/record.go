// Package record is the content of a record: the sheet that says what was found
// at a craft and how far to trust it, and beside it the pictures, tables and
// answers that it rests on, all as files in memory. How a sheet is set on paper
// and on a screen is package sheet's.
package record

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"quietmount/report/answer"
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

// Options are what a record needs besides the findings.
type Options struct {
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
	Arrow  *answer.Arrow
	Swing  *answer.Swing
	Checks []*survey.SwingFile

	// What the steady part of the finished craft became beside the map's promise,
	// or why that was not compared, and the calibrations that were.
	Promise     *answer.Promise
	NotCompared string
	Compared    []string
}

// File is one file of a record.
type File struct {
	Name string
	Data []byte
}

// Files writes everything that belongs into the record folder: the sheet, the
// pictures of what was measured, and the numbers. The ranking may be nil where
// nothing could be ranked. The same input gives the same bytes.
func Files(f *findings.Findings, ranking *findings.Ranking, o Options) ([]File, error) {
	m := newSheetMaker(f, ranking, o)
	if err := m.draw(); err != nil {
		return nil, err
	}
	document := m.document()
	page, err := sheet.HTML(document)
	if err != nil {
		return nil, err
	}
	paper, err := sheet.PDF(document)
	if err != nil {
		return nil, err
	}
	files := []File{{"sheet.html", page}, {"sheet.pdf", paper}}
	for _, p := range m.pictures {
		if files, err = pictureFiles(files, p.name, p.picture); err != nil {
			return nil, err
		}
	}
	if files, err = recordFinish(files, f.Craft.Name, o); err != nil {
		return nil, err
	}
	return m.numbers(files)
}

// numbers adds what the sheet says as CSV and JSON.
func (m *sheetMaker) numbers(files []File) ([]File, error) {
	answers := []struct {
		name  string
		there bool
		write func(w io.Writer) error
	}{
		{"stations.csv", true, func(w io.Writer) error { return writeStationsCSV(w, m.f) }},
		{"map.json", true, func(w io.Writer) error { return answer.WriteJSON(w, answer.NewMap(m.f)) }},
		{"spots.csv", m.ranking != nil, func(w io.Writer) error { return writeSpotsCSV(w, m.ranking) }},
		{"rank.json", m.ranking != nil, func(w io.Writer) error { return answer.WriteJSON(w, m.rank) }},
		{"sources.json", m.sources != nil, func(w io.Writer) error { return answer.WriteJSON(w, answer.NewSources(m.f, m.sources)) }},
		{"prove.json", m.proof != nil, func(w io.Writer) error { return answer.WriteJSON(w, answer.NewProve(m.f, m.proof, 0)) }},
		{"promise.json", m.o.Promise != nil, func(w io.Writer) error { return answer.WriteJSON(w, m.o.Promise) }},
		{"balance.json", m.balanced != nil, func(w io.Writer) error { return answer.WriteJSON(w, answer.NewBalance(m.f.Craft.Name, m.balanced)) }},
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
