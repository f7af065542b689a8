package survey

import "quietmount/magmath/dwell"

// LoadLevels is what the samples of a dwell themselves say of the load, one
// level a sample: the labels sent with them or, where none was sent, what
// dwell.LabelsFromCurrent makes of the currents sent with them. A sample that
// says nothing is dwell.Unknown. The guide, the check of the files and the
// evaluation all judge by it.
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
