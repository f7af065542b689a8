package csvfile

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// ExportCSV writes the captures of a run that count as CSV, with the columns
// that ImportCSV reads: one row a sample, the optional columns only where the
// run has them, numbers with as many digits as they need to read back the same.
//
// Vectors are in the craft frame: the run's calibration and axes are applied,
// so that the file can be imported without either. Accelerations are turned
// with the same axes. A run without axes stays in sensor axes. A run without
// calibration whose axes are those of the craft comes back from ImportCSV with the
// very same samples.
//
// The prompts of a pulsed run go into the column prompt_on; each comes back at
// the time of the first sample after it, at most one sample late, which the
// lag estimated over a whole run takes up.
func ExportCSV(w io.Writer, run *logbook.Run) error {
	valid := run.Valid()
	var all []survey.Sample
	prompts := false
	for _, c := range valid {
		all = append(all, c.Samples...)
		prompts = prompts || len(c.Prompts) > 0
	}
	columns, has := logbook.SampleColumns(all)
	head := append([]string{colCapture, colStation}, columns...)
	head = append(head, colX, colY, colZ)
	if prompts {
		head = append(head, colPromptOn)
	}
	bw := bufio.NewWriter(w)
	cw := csv.NewWriter(bw)
	_ = cw.Write(head) // an error stays in cw
	row := make([]string, 0, len(head))
	for _, c := range valid {
		for _, s := range c.Samples {
			row = append(row[:0], strconv.Itoa(c.Number), c.Station)
			row = append(exportSample(row, run, s, has), exportNumber(c.At.X), exportNumber(c.At.Y), exportNumber(c.At.Z))
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

func exportSample(row []string, run *logbook.Run, s survey.Sample, has survey.Has) []string {
	row = exportVec(append(row, exportNumber(s.TS)), run.Header.ToCraft(s.B), true)
	if has&survey.HasAcc != 0 {
		row = exportVec(row, run.Header.Turn(s.Acc), s.Has&survey.HasAcc != 0)
	}
	if has&survey.HasCurrent != 0 {
		field := ""
		if s.Has&survey.HasCurrent != 0 {
			field = exportNumber(s.CurrentA)
		}
		row = append(row, field)
	}
	if has&survey.HasLoadOn != 0 {
		field := ""
		if s.Has&survey.HasLoadOn != 0 {
			field = exportBool(s.LoadOn)
		}
		row = append(row, field)
	}
	return row
}

func exportVec(row []string, v r3.Vec, there bool) []string {
	if !there {
		return append(row, "", "", "")
	}
	return append(row, exportNumber(v.X), exportNumber(v.Y), exportNumber(v.Z))
}

func exportNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func exportBool(on bool) string {
	if on {
		return "1"
	}
	return "0"
}

// exportPrompt is whether the operator was last told on at time ts; before any
// prompt the load is off.
func exportPrompt(prompts []logbook.Prompt, ts float64) string {
	on := false
	for _, p := range slices.Backward(prompts) {
		if p.TS <= ts {
			on = p.On
			break
		}
	}
	return exportBool(on)
}
