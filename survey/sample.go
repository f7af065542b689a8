package survey

import (
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

// LoadLevels returns one level a sample: the labels that were sent with the
// samples or, where none was sent, what dwell.LabelsFromCurrent makes of the
// currents; dwell.Unknown for a sample with neither. Guide, check of the files
// and evaluation all judge by it.
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
