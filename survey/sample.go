package survey

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/dwell"
)

// Has says which optional parts of a Sample were sent.
type Has uint8

// The optional parts of a Sample.
const (
	HasAcc     Has = 1 << iota // Acc
	HasCurrent                 // CurrentA
	HasLoadOn                  // LoadOn
)

// Sample is one reading of the probe as it was sent: no calibration and no
// axes applied.
type Sample struct {
	TS       float64 // seconds from the start of the run or stream; never runs backwards
	B        r3.Vec  // microtesla, sensor axes
	Acc      r3.Vec  // g, accelerometer axes; meaningful with HasAcc
	CurrentA float64 // amperes, from telemetry; meaningful with HasCurrent
	LoadOn   bool    // a label sent with the sample; meaningful with HasLoadOn
	Has      Has
}

// LoadLevels returns for each sample whether the load was on: by the label sent
// with it or, if no sample has a label, by dwell.LabelsFromCurrent from the
// currents; dwell.Unknown for a sample with neither. The guide, the check of
// the files and the evaluation all use it.
func LoadLevels(samples []Sample) []dwell.Level {
	levels := make([]dwell.Level, len(samples))
	labelled := false
	var at []int
	var currents []float64
	for i, s := range samples {
		if s.Has&HasLoadOn != 0 {
			labelled = true
			levels[i] = dwell.Off
			if s.LoadOn {
				levels[i] = dwell.On
			}
		}
		if s.Has&HasCurrent != 0 {
			at, currents = append(at, i), append(currents, s.CurrentA)
		}
	}
	if labelled {
		return levels
	}
	for k, l := range dwell.LabelsFromCurrent(currents) {
		levels[at[k]] = l
	}
	return levels
}

// Column is one number of a sample, under the name used in run files and in
// CSV.
type Column struct {
	Name string // with its unit
	Has  Has    // the part of a sample that it belongs to; 0: every sample has it
	at   func(*Sample) *float64
}

// Columns returns the columns of a sample in the order in which they are written.
func Columns() []Column {
	return []Column{
		{"t_s", 0, func(s *Sample) *float64 { return &s.TS }},
		{"bx_ut", 0, func(s *Sample) *float64 { return &s.B.X }},
		{"by_ut", 0, func(s *Sample) *float64 { return &s.B.Y }},
		{"bz_ut", 0, func(s *Sample) *float64 { return &s.B.Z }},
		{"ax_g", HasAcc, func(s *Sample) *float64 { return &s.Acc.X }},
		{"ay_g", HasAcc, func(s *Sample) *float64 { return &s.Acc.Y }},
		{"az_g", HasAcc, func(s *Sample) *float64 { return &s.Acc.Z }},
		{"current_a", HasCurrent, func(s *Sample) *float64 { return &s.CurrentA }},
		{"load_on", HasLoadOn, nil}, // 0 or 1
	}
}

// ColumnsOf returns the columns that samples need: the optional ones only if at
// least one sample has them.
func ColumnsOf(samples []Sample) []Column {
	var has Has
	for i := range samples {
		has |= samples[i].Has
	}
	return slices.DeleteFunc(Columns(), func(c Column) bool { return c.Has&has != c.Has })
}

// Value returns the number of s in the column; false if s lacks it.
func (c Column) Value(s *Sample) (float64, bool) {
	switch {
	case s.Has&c.Has != c.Has:
		return 0, false
	case c.at != nil:
		return *c.at(s), true
	case s.LoadOn:
		return 1, true
	}
	return 0, true
}

// Set stores v in the column of s. The column load_on accepts only 0 and 1.
func (c Column) Set(s *Sample, v float64) error {
	if c.at == nil && v != 0 && v != 1 {
		return fmt.Errorf("%s is %g; it must be 0 or 1", c.Name, v)
	}
	if c.at == nil {
		s.LoadOn = v == 1
	} else {
		*c.at(s) = v
	}
	s.Has |= c.Has
	return nil
}
