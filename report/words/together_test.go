package words_test

import (
	"errors"
	"slices"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/report/words"
)

func TestTogether(t *testing.T) {
	left := func(run, capture int, station, why string) remark.Remark {
		return remark.New("evaluate.capture_left_out", remark.Values{"cause": errors.New(why)}).At(remark.Place{Run: run, Capture: capture, Station: station})
	}
	scaled := func(load string, factor float64) remark.Remark {
		return remark.New("evaluate.load_scaled", remark.Values{"current_a": 9., "factor": factor, "max_current_a": 9 * factor}).At(remark.Place{Load: load})
	}
	for _, c := range []struct {
		name string
		in   []remark.Remark
		want []string
	}{
		{"nothing", nil, []string{}},
		{"one", []remark.Remark{left(3, 2, "A1", "too short")}, []string{"Run 3, capture 2 at A1 is left out: too short."}},
		{
			"one cause", []remark.Remark{left(3, 2, "A1", "too short"), left(3, 5, "B2", "too short"), left(4, 1, "T", "too short")},
			[]string{"3 captures are left out (run 3, captures 2 at A1 and 5 at B2; run 4, capture 1 at T): too short."},
		},
		{
			"two causes, another between", []remark.Remark{left(3, 2, "A1", "too short"), remark.New("evaluate.no_base"), left(3, 5, "B2", "not still"), left(3, 6, "B3", "too short")},
			[]string{"2 captures are left out (run 3, captures 2 at A1 and 6 at B3): too short.", "There is no base station: drift cannot be told from the craft.", "Run 3, capture 5 at B2 is left out: not still."},
		},
		{
			"loads", []remark.Remark{scaled("left", 2), scaled("right", 2), scaled("winch", 3)},
			[]string{
				`The loads "left" and "right" were measured at 9 A and scaled by 2 to their maximum of 18 A; their uncertainty grew as much.`,
				`The load "winch" was measured at 9 A and scaled by 3 to its maximum of 27 A; its uncertainty grew as much.`,
			},
		},
	} {
		if got := words.Terminal.Together(c.in); !slices.Equal(got, c.want) || got == nil {
			t.Errorf("%s:\ngot  %q\nwant %q", c.name, got, c.want)
		}
	}
}
