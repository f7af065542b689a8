// Package record makes the record of a survey: the sheet that states what was found
// on a craft and how reliable it is, with the pictures, tables and JSON answers
// behind it.
//
// In come findings, a ranking and Options; out go the record's files in memory.
// Package filing gathers the options from a craft folder and writes the files;
// package sheet sets the sheet as HTML and PDF.
//
// Start reading at Files in record.go and document in sheet.go, which lists the
// sections. verdict.go has the answer, weak.go what it lacks, conditions.go how it
// was measured, tables.go the tables, finish.go the checks of the finished craft.
package record

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"

	"quietmount/report/answer"
	"quietmount/report/pdf"
	"quietmount/report/picture"
	"quietmount/report/sheet"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Input is a file that the findings are based on.
type Input struct {
	Name   string // relative to the craft folder, with slashes
	SHA256 string // hex
	Lines  int
}

// Options holds what a record needs besides the findings.
type Options struct {
	Inputs   []Input
	Problems []answer.Problem
	Unused   []*logbook.Run // runs of the folder that the findings are not based on
	Tool     string         // version
	Command  string         // that wrote it
	Paper    pdf.Paper      // zero: A4

	Choice       *logbook.Choice       // nil: none was made
	Calibrations []logbook.Calibration // those that runs and checks used

	// The newest arrow check and swing of the finished craft, or nil, and all their
	// files.
	Arrow  *answer.Arrow
	Swing  *answer.Swing
	Checks []*logbook.SwingFile

	// The steady part of the finished craft beside the map's promise, or why it
	// was not compared, and the IDs of the calibrations that were compared.
	Promise     *answer.Promise
	NotCompared string
	Compared    []string
}

// File is one file of a record.
type File struct {
	Name string
	Data []byte
}

// Files returns the files of the record folder: the sheet, the pictures and the
// numbers. The ranking is nil if nothing could be ranked. The same input gives the
// same bytes.
func Files(ctx context.Context, f *evaluate.Findings, ranking *rank.Ranking, o Options) ([]File, error) {
	m := newSheetMaker(ctx, f, ranking, o)
	if err := m.draw(ctx); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("make the sheet: %w", err)
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
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("write the record: %w", err)
		}
		if files, err = pictureFiles(files, p.name, p.picture); err != nil {
			return nil, err
		}
	}
	if o.Swing != nil {
		if files, err = pictureFiles(files, "deviation-card", picture.DeviationCard(f.Craft.Name, *o.Swing)); err != nil {
			return nil, err
		}
	}
	return m.numbers(files)
}

// numbers adds the numbers of the sheet as CSV and JSON.
func (m *sheetMaker) numbers(files []File) ([]File, error) {
	answers := []struct {
		name  string
		there bool
		write func(w io.Writer) error
	}{
		{"arrow.json", m.o.Arrow != nil, func(w io.Writer) error { return answer.WriteJSON(w, m.o.Arrow) }},
		{"swing.json", m.o.Swing != nil, func(w io.Writer) error { return answer.WriteJSON(w, m.o.Swing) }},
		{"stations.csv", true, func(w io.Writer) error { return writeStationsCSV(w, m.f) }},
		{"map.json", true, func(w io.Writer) error { return answer.WriteJSON(w, answer.NewMap(words.Terminal, m.f, m.checks)) }},
		{"spots.csv", m.ranking != nil, func(w io.Writer) error { return writeSpotsCSV(w, m.ranking) }},
		{"rank.json", m.ranking != nil, func(w io.Writer) error { return answer.WriteJSON(w, m.rank) }},
		{"sources.json", m.sources != nil, func(w io.Writer) error { return answer.WriteJSON(w, answer.NewSources(words.Terminal, m.f, m.sources)) }},
		{"prove.json", m.proof != nil, func(w io.Writer) error { return answer.WriteJSON(w, answer.NewProve(words.Terminal, m.f, m.proof, 0)) }},
		{"promise.json", m.o.Promise != nil, func(w io.Writer) error { return answer.WriteJSON(w, m.o.Promise) }},
		{"balance.json", m.balanced != nil, func(w io.Writer) error {
			return answer.WriteJSON(w, answer.NewBalance(words.Terminal, m.f.Craft.Name, m.balanced))
		}},
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

// fileWord returns s in lower case, with a hyphen for what does not belong into a
// file name.
func fileWord(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(s))
}
