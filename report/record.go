package report

import (
	"bytes"
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

// Record writes everything that belongs into the record folder: the sheet, a
// picture of each part that was measured, and the numbers. The ranking may be
// nil where nothing could be ranked. The same input gives the same bytes.
func Record(f *findings.Findings, ranking *findings.Ranking, o RecordOptions) ([]File, error) {
	document, err := Sheet(f, ranking, o)
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
	for _, part := range mappedParts(f) {
		picture, err := Map(f, ranking, MapOptions{Part: part})
		if err != nil {
			return nil, err
		}
		for _, format := range []Format{PNG, SVG, PDF} {
			var b bytes.Buffer
			if err := picture.Write(&b, format); err != nil {
				return nil, err
			}
			files = append(files, File{"map-" + fileWord(part) + "." + string(format), b.Bytes()})
		}
	}
	if files, err = recordFinish(files, f.Craft.Name, o); err != nil {
		return nil, err
	}
	return recordNumbers(files, f, ranking)
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

func recordNumbers(files []File, f *findings.Findings, ranking *findings.Ranking) ([]File, error) {
	var stations, answers bytes.Buffer
	if err := WriteStationsCSV(&stations, f); err != nil {
		return nil, err
	}
	if err := WriteJSON(&answers, NewMapAnswer(f)); err != nil {
		return nil, err
	}
	files = append(files, File{"stations.csv", stations.Bytes()}, File{"map.json", answers.Bytes()})
	if ranking == nil {
		return files, nil
	}
	var spots bytes.Buffer
	if err := WriteJSON(&spots, NewRankAnswer(f, ranking)); err != nil {
		return nil, err
	}
	return append(files, File{"rank.json", spots.Bytes()}), nil
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
