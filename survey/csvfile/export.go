package csvfile

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Export writes the captures of a run that count as CSV, with the columns
// that Import reads: one row a sample, the optional columns only where the
// run has them, numbers with as many digits as they need to read back the same.
//
// Vectors are in the craft frame: the run's calibration and axes are applied,
// so that the file can be imported without either. Accelerations are turned
// with the same axes. A run without axes stays in sensor axes. A run without
// calibration whose axes are those of the craft comes back from Import with the
// very same samples.
//
// The prompts of a pulsed run go into the column prompt_on; each comes back at
// the time of the first sample after it, at most one sample late, which the
// lag estimated over a whole run takes up.
func Export(w io.Writer, run *logbook.Run) error {
	valid := run.Valid()
	var all []survey.Sample
	prompts := false
	for _, c := range valid {
		all = append(all, c.Samples...)
		prompts = prompts || len(c.Prompts) > 0
	}
	columns := survey.ColumnsOf(all)
	head := []string{colCapture, colStation}
	for _, c := range columns {
		head = append(head, c.Name)
	}
	head = append(head, colX, colY, colZ)
	if prompts {
		head = append(head, colPromptOn)
	}
	bw := bufio.NewWriter(w)
	cw := csv.NewWriter(bw)
	_ = cw.Write(head) // an error stays in cw
	row, frame := make([]string, 0, len(head)), run.Header.Frame()
	for _, c := range valid {
		for _, s := range c.Samples {
			s.B, s.Acc = frame.Field(s.B), frame.Turn(s.Acc)
			row = append(row[:0], strconv.Itoa(c.Number), c.Station)
			for _, column := range columns {
				if v, ok := column.Value(&s); ok {
					row = append(row, exportNumber(v))
				} else {
					row = append(row, "")
				}
			}
			row = append(row, exportNumber(c.At.X), exportNumber(c.At.Y), exportNumber(c.At.Z))
			if prompts {
				row = append(row, exportPrompt(c.Prompts, s.TS))
			}
			_ = cw.Write(row)
		}
	}
	cw.Flush()
	err := cw.Error()
	if err == nil {
		err = bw.Flush()
	}
	if err != nil {
		return fmt.Errorf("export run %d: %w", run.Header.Run, err)
	}
	return nil
}

func exportNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// exportPrompt returns 1 if the last prompt up to time ts was on, else 0.
func exportPrompt(prompts []logbook.Prompt, ts float64) string {
	for _, p := range slices.Backward(prompts) {
		if p.TS <= ts && p.On {
			return "1"
		} else if p.TS <= ts {
			break
		}
	}
	return "0"
}
