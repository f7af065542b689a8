package standing

import (
	"strings"
	"testing"
	"time"

	"quietmount/survey"
	"quietmount/survey/guide"
)

// craft is invented: a flat board with about nx by ny stations.
func craft(t *testing.T, outline string) *survey.Craft {
	t.Helper()
	c, err := survey.ParseCraft([]byte(`name = "board"
[site]
latitude_deg = 53.3
longitude_deg = -9.1
altitude_m = 2
[module]
name = "puck"
mass_g = 24
footprint_mm = [38, 38]
sensor_height_mm = 6
axes = ["+x", "+y", "+z"]
[craft]
outline_mm = `+outline+`
surface_z_mm = -20
[grid]
spacing_mm = 60
origin_mm = [0, 0]
[base]
name = "T"
at_mm = [900, 0, -20]
[[load]]
name = "left motor"
kind = "current"
max_current_a = 18
[[load]]
name = "rudder"
kind = "moving"
`), "craft.toml")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

const (
	wide  = "[[365, 185], [-365, 185], [-365, -185], [365, -185]]" // 13 by 7 stations
	small = "[[65, 65], [-65, 65], [-65, -65], [65, -65]]"         // 3 by 3
)

func run(state string, number, captures int, end string) *survey.Run {
	r := &survey.Run{Header: survey.Header{Run: number, State: state}}
	for i := range captures {
		r.Captures = append(r.Captures, survey.Capture{Number: i + 1, Station: "A1"})
	}
	if end != "" {
		r.Notes = append(r.Notes, survey.Note{Kind: survey.NoteEnd, Text: end, Time: time.Time{}})
	}
	return r
}

func step(t *testing.T, s *Standing, state string) Step {
	t.Helper()
	for _, st := range s.Steps {
		if st.State == state {
			return st
		}
	}
	t.Fatalf("no step for %s", state)
	return Step{}
}

func TestLongPulsedWalksAreProposedShort(t *testing.T) {
	for _, tt := range []struct {
		name, outline string
		short         bool
	}{
		{"91 stations", wide, true},
		{"9 stations", small, false},
	} {
		c := craft(t, tt.outline)
		s := Of("boat", c, nil, false)
		for _, load := range []string{"left motor", "rudder"} {
			st := step(t, s, load)
			full, err := guide.Plan(c, guide.PlanOptions{State: load, Pulsed: true})
			if err != nil {
				t.Fatal(err)
			}
			if got := strings.Contains(st.Command, " --pulsed --most 12 "); got != tt.short || strings.Contains(st.Command, "--most") != tt.short {
				t.Errorf("%s, %s: command %q", tt.name, load, st.Command)
			}
			if tt.short && (st.Minutes > 25 || full.Minutes() < 2*st.Minutes) {
				t.Errorf("%s, %s: %.0f minutes, the full walk %.0f", tt.name, load, st.Minutes, full.Minutes())
			}
		}
		for _, state := range []string{survey.StateBackground, survey.StateUnpowered} {
			if st := step(t, s, state); strings.Contains(st.Command, "--most") || st.Minutes <= 0 {
				t.Errorf("%s, %s: %q, %.0f minutes", tt.name, state, st.Command, st.Minutes)
			}
		}
	}
}

func TestARunIsDoneWhenItEnded(t *testing.T) {
	c := craft(t, wide)
	for _, tt := range []struct {
		name, end string
		captures  int
		done      bool
		command   string
	}{
		{"short walk, ended", "finished: every station was visited", 16, true, ""},
		{"stopped", "stopped: by the operator", 16, false, "--resume"},
		{"broken off", "", 3, false, "--resume"},
		{"nothing in it", "finished", 0, false, "--resume"},
	} {
		s := Of(".", c, []*survey.Run{run("left motor", 3, tt.captures, tt.end)}, false)
		st := step(t, s, "left motor")
		if st.Done != tt.done || !strings.Contains(st.Command, tt.command) || st.Begun == tt.done {
			t.Errorf("%s: %+v", tt.name, st)
		}
	}
}

func TestTheNextStepOfAnEmptyAndOfADoneFolder(t *testing.T) {
	if s := Of("new boat", nil, nil, false); s.Next() == nil || s.Next().Command != `quietmount init "new boat"` {
		t.Errorf("no craft file: %+v", s)
	}
	c := craft(t, small)
	var runs []*survey.Run
	for i, state := range []string{survey.StateBackground, survey.StateUnpowered, "left motor", "rudder"} {
		if got := Of(".", c, runs, false).Next(); got == nil || got.State != state {
			t.Errorf("after %d runs the next is %+v, want %s", i, got, state)
		}
		runs = append(runs, run(state, i+1, 9, "finished"))
	}
	if got := Of(".", c, runs, false).Next(); got == nil || got.State != "" {
		t.Errorf("after all runs the next is %+v, want the map", got)
	}
	if s := Of(".", c, runs, true); s.Next() != nil || s.Minutes() != 0 {
		t.Errorf("all done: next %+v, %.0f minutes", s.Next(), s.Minutes())
	}
}
