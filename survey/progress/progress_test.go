package progress

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// craft is invented: a flat board with about nx by ny stations.
func craft(t *testing.T, outline string) *survey.Craft {
	t.Helper()
	c, err := craftfile.Parse([]byte(`name = "board"
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

func run(state string, number, captures int, end string) *logbook.Run {
	r := &logbook.Run{Header: logbook.Header{Run: number, State: state}}
	for i := range captures {
		r.Captures = append(r.Captures, logbook.Capture{Number: i + 1, Station: "A1"})
	}
	if end != "" {
		r.Notes = append(r.Notes, logbook.Note{Kind: logbook.NoteEnd, Text: end, Time: time.Time{}})
	}
	return r
}

func step(t *testing.T, s *Job, state string) Step {
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
		s := Of(Folder{Dir: "boat", Craft: c})
		for _, load := range []string{"left motor", "rudder"} {
			st := step(t, s, load)
			full, err := guide.Plan(c, guide.PlanOptions{State: load, Pulsed: true})
			if err != nil {
				t.Fatal(err)
			}
			if (st.Most == 12) != tt.short || (st.Most != 0) != tt.short || st.Load == nil || st.Load.Name != load {
				t.Errorf("%s, %s: %+v", tt.name, load, st)
			}
			if tt.short && (st.Minutes > 25 || full.Minutes() < 2*st.Minutes) {
				t.Errorf("%s, %s: %.0f minutes, the full walk %.0f", tt.name, load, st.Minutes, full.Minutes())
			}
		}
		for _, state := range []string{survey.StateBackground, survey.StateUnpowered} {
			if st := step(t, s, state); st.Most != 0 || st.Load != nil || st.Minutes <= 0 {
				t.Errorf("%s, %s: %+v", tt.name, state, st)
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
	}{
		{"short walk, ended", "finished: every station was visited", 16, true},
		{"stopped", "stopped: by the operator", 16, false},
		{"broken off", "", 3, false},
		{"nothing in it", "finished", 0, false},
	} {
		s := Of(Folder{Dir: ".", Craft: c, Runs: []*logbook.Run{run("left motor", 3, tt.captures, tt.end)}})
		st := step(t, s, "left motor")
		if st.Done != tt.done || st.Resume == tt.done || st.Begun == tt.done {
			t.Errorf("%s: %+v", tt.name, st)
		}
	}
}

func TestTheNextStepOfAnEmptyAndOfADoneFolder(t *testing.T) {
	if s := Of(Folder{Dir: "new boat"}); s.Next() == nil || s.Next().Kind != Describe {
		t.Errorf("no craft file: %+v", s)
	}
	c := craft(t, small)
	f := Folder{Dir: ".", Craft: c}
	if got := Of(f).Next(); got == nil || got.Kind != Calibrate {
		t.Errorf("at the beginning the next is %+v, want the calibration", got)
	}
	f.Loose = []string{"0001"}
	for i, state := range []string{survey.StateBackground, survey.StateUnpowered, "left motor", "rudder"} {
		if got := Of(f).Next(); got == nil || got.State != state {
			t.Errorf("after %d runs the next is %+v, want %s", i, got, state)
		}
		f.Runs = append(f.Runs, run(state, i+1, 9, "finished"))
	}
	next := func(kind Kind, state string) {
		t.Helper()
		if got := Of(f).Next(); got == nil || got.Kind != kind || got.State != state {
			t.Errorf("the next is %+v, want %s %s", got, kind, state)
		}
	}
	next(Choose, "")
	f.Choice = &logbook.Choice{Spot: logbook.ChosenSpot{XMM: 60, YMM: -60, ZMM: -20, NearestStation: "A1"}}
	for i, load := range []string{"left motor", "rudder"} {
		next(Prove, load)
		proof := run(load, 5+i, 2, "finished")
		proof.Header.Proof, proof.Header.Extra = true, []survey.Station{{Name: "spot", At: r3.Vec{X: 60, Y: -60, Z: -20}}}
		f.Runs = append(f.Runs, proof)
	}
	next(Arrow, "")
	f.Swings = append(f.Swings, swung(logbook.SwingArrow, nil, "finished"))
	next(Arrow, "") // that one was taken before the spot was chosen
	f.Swings = append(f.Swings, swung(logbook.SwingArrow, f.Choice.Mounted(), "finished"))
	next(OnCraft, "")
	f.OnCraft = []string{"0002"}
	next(Swing, "")
	if got := Of(f).Next(); got.Calibration != "0002" || got.Resume {
		t.Errorf("the swing is %+v", got)
	}
	f.Swings = append(f.Swings, swung(logbook.SwingHeadings, f.Choice.Mounted(), "stopped: by the operator"))
	next(Swing, "")
	if got := Of(f).Next(); !got.Resume || !got.Begun {
		t.Errorf("the swing that was stopped is %+v", got)
	}
	f.Swings = append(f.Swings, swung(logbook.SwingHeadings, f.Choice.Mounted(), "finished"))
	next(Record, "")
	f.Recorded = true
	if s := Of(f); s.Next() != nil || s.Minutes() != 0 {
		t.Errorf("all done: next %+v, %.0f minutes", s.Next(), s.Minutes())
	}
	chosen := f.Choice
	f.Choice = nil
	next(Choose, "") // a record alone chooses nothing
	f.Choice = chosen
	// Another spot is chosen: what was proved elsewhere proves nothing.
	f.Choice.Spot.XMM = 0
	next(Prove, "left motor")
	for i, load := range []string{"left motor", "rudder"} {
		proof := run(load, 7+i, 2, "finished")
		proof.Header.Proof, proof.Header.Extra = true, []survey.Station{{Name: "spot", At: r3.Vec{Y: -60, Z: -20}}}
		f.Runs = append(f.Runs, proof)
	}
	next(Arrow, "")
	f.Swings = append(f.Swings, swung(logbook.SwingArrow, f.Choice.Mounted(), "finished"))
	next(Swing, "")
}

func swung(what string, at *logbook.Mounted, end string) *logbook.SwingFile {
	r := run("unpowered", 1, 5, end)
	r.Header.Started = time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)
	return &logbook.SwingFile{Run: r, Swing: logbook.SwingHeader{What: what, Spot: at}}
}

// Axes that nobody stated are found before the walks; walks that were begun
// without them, and without a calibration, are not held up.
func TestCalibrationAndAxesComeBeforeTheWalks(t *testing.T) {
	c := craft(t, small)
	c.Module.Axes = nil
	f := Folder{Dir: "my craft", Craft: c, Loose: []string{"0001"}}
	if got := Of(f).Next(); got.Kind != Axes || got.Calibration != "0001" || got.Probe {
		t.Errorf("next %+v, want the axes with the calibration 0001", got)
	}
	f.Loose, f.Runs = nil, []*logbook.Run{run(survey.StateBackground, 1, 9, "finished")}
	if got := Of(f).Next(); got.State != survey.StateUnpowered {
		t.Errorf("next %+v", got)
	}
}
