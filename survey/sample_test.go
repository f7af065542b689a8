package survey

import (
	"slices"
	"testing"

	"quietmount/magmath/dwell"
)

func TestLoadLevels(t *testing.T) {
	const u, off, on = dwell.Unknown, dwell.Off, dwell.On
	none := Sample{}
	amps := func(a float64) Sample { return Sample{CurrentA: a, Has: HasCurrent} }
	label := func(is bool, a float64) Sample { return Sample{LoadOn: is, CurrentA: a, Has: HasLoadOn | HasCurrent} }
	for _, tt := range []struct {
		name    string
		samples []Sample
		want    []dwell.Level
	}{
		{"nothing sent", []Sample{none, none}, []dwell.Level{u, u}},
		{"no samples", nil, []dwell.Level{}},
		{"the label before the current", []Sample{label(true, 0), label(false, 12), amps(12), label(true, 12)}, []dwell.Level{on, off, u, on}},
		{"a label that never changes is passed on", []Sample{label(true, 0), label(true, 0)}, []dwell.Level{on, on}},
		{"currents, one missing", []Sample{amps(7), amps(7.1), none, amps(12), amps(-12.1), amps(7)}, []dwell.Level{off, off, u, on, on, off}},
		{"a current that stays", []Sample{amps(12), amps(12), amps(12.1), amps(12)}, []dwell.Level{u, u, u, u}},
	} {
		if got := LoadLevels(tt.samples); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}
