package walk

import (
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// The craft is invented.
const plank = `name = "plank"
[site]
latitude_deg = 53.3
longitude_deg = -9.1
altitude_m = 2
date = "2026-06-01"
[module]
name = "puck"
mass_g = 24
range_ut = 800
footprint_mm = [38, 38]
sensor_height_mm = 6
axes = ["+x", "+y", "+z"]
[craft]
outline_mm = [[125, 65], [-125, 65], [-125, -65], [125, -65]]
surface_z_mm = -20
fitted = ["hatch shut"]
[grid]
spacing_mm = 60
origin_mm = [0, 0]
[base]
name = "T"
at_mm = [700, 0, -20]
[[load]]
name = "motor"
kind = "current"
max_current_a = 18
`

// bed is a craft folder on the disk.
func bed(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, craftfile.Name), []byte(plank), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

func setup(t *testing.T, dir, state string, change func(*Setup)) Setup {
	t.Helper()
	f, err := logbook.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	s := Setup{
		Folder: f, State: state, Session: "bench A", Now: clock(), Confirmed: true, HandsFree: true,
		Port: "/dev/invented", Decoder: "csv", Tool: "test", Words: codes,
	}
	if change != nil {
		change(&s)
	}
	return s
}

// kept begins a run and saves n captures in it, 10 uT apart, at the stations
// that the guide would ask for.
func kept(t *testing.T, s Setup, n int) (h logbook.Header, file string) {
	t.Helper()
	b, err := Begin(s)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		v := b.Route.Visits[i]
		if err := b.Writer.Append(logbook.Capture{
			Number: i + 1, Station: v.Station.Name, At: v.Station.At, Visit: v.Kind, Time: clock(),
			Samples: []survey.Sample{{TS: 1, B: r3.Vec{X: 10 * float64(i)}}}, BUT: r3.Vec{X: 10 * float64(i)},
		}); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Writer.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Writer.Header(), b.About.File
}

func onlyRun(t *testing.T, dir string, number int) *logbook.Run {
	t.Helper()
	runs, err := logbook.LoadRuns(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		if r.Header.Run == number {
			return r
		}
	}
	t.Fatalf("no run %d among %d", number, len(runs))
	return nil
}

func TestBeginWritesWhatTheRunIs(t *testing.T) {
	dir := bed(t)
	turned := magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}
	s := setup(t, dir, "motor", func(s *Setup) {
		s.CurrentA, s.Pulsed, s.Substitute, s.NoseDeg = new(12.5), true, true, new(30.0)
		s.Axes, s.Calibration = &turned, "0001"
		s.Correction = &survey.Correction{OffsetUT: [3]float64{3}, Matrix: magmath.Identity()}
		s.Rhythm = logbook.Rhythm{Pulses: 5, OnS: 2, OffS: 4, DropS: 0.3}
		s.Most = 4
	})
	_, file := kept(t, s, 0)
	h := onlyRun(t, dir, 1).Header
	if file == "" || h.Run != 1 || h.Craft != "plank" || h.CraftSHA256 != s.Folder.Craft.SHA256 || h.CraftSHA256 == "" || h.State != "motor" || h.Session != "bench A" {
		t.Errorf("header %+v", h)
	}
	if h.CurrentA == nil || *h.CurrentA != 12.5 || !h.Pulsed || !h.Substitute || h.NoseDeg == nil || *h.NoseDeg != 30 {
		t.Errorf("load in the header %+v", h)
	}
	if h.Axes == nil || *h.Axes != turned || h.Calibration != "0001" || h.Correction == nil || h.Correction.OffsetUT[0] != 3 {
		t.Errorf("axes and calibration in the header %+v", h)
	}
	if h.Rhythm == nil || *h.Rhythm != s.Rhythm || len(h.Stations) != 4 {
		t.Errorf("rhythm %v and stations %v in the header", h.Rhythm, h.Stations)
	}
	if h.Probe != "puck" || h.Port != "/dev/invented" || h.Decoder != "csv" || h.Tool != "test" || !h.Started.Equal(clock()) {
		t.Errorf("probe in the header %+v", h)
	}
	if !slices.Equal(h.Fitted, []string{"hatch shut"}) || len(h.Confirmed) < 4 {
		t.Errorf("confirmed in the header: %v, %v", h.Fitted, h.Confirmed)
	}
	_, _ = kept(t, setup(t, dir, survey.StateUnpowered, func(s *Setup) { s.Session, s.Confirmed = "", false }), 0)
	if h := onlyRun(t, dir, 2).Header; h.Session != clock().Format(time.DateOnly) || h.Fitted != nil || h.CurrentA != nil || h.Rhythm != nil || h.Stations != nil {
		t.Errorf("a plain run's header %+v", h)
	}
}

func TestBeginLeavesNothingBehindOnAnError(t *testing.T) {
	for _, tt := range []struct {
		name, says string
		state      string
		change     func(*Setup)
	}{
		{"no such state", "rudder", "rudder", nil},
		{"background pulsed", "pulsed", survey.StateBackground, func(s *Setup) { s.Pulsed = true }},
		{"a substitute for nothing", "substitute", survey.StateUnpowered, func(s *Setup) { s.Substitute = true }},
		{"no current", "current", "motor", func(s *Setup) { s.CurrentA = new(0.0) }},
		{"current that is none", "current", "motor", func(s *Setup) { s.CurrentA = new(math.NaN()) }},
		{"unknown station", "Q9", survey.StateUnpowered, func(s *Setup) { s.Stations = []string{"B2", "Q9"} }},
		{"fewer than none", "-1", survey.StateUnpowered, func(s *Setup) { s.Most = -1 }},
		{"too few pulses", "pulses", "motor", func(s *Setup) {
			s.Pulsed, s.Rhythm = true, logbook.Rhythm{Pulses: 2, OnS: 3, OffS: 3, DropS: 0.5}
		}},
		{"nothing to resume", "motor", "motor", func(s *Setup) { s.Resume = true }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := bed(t)
			b, err := Begin(setup(t, dir, tt.state, tt.change))
			if err == nil || !strings.Contains(err.Error(), tt.says) {
				t.Fatalf("begun %v, %v; want an error about %q", b, err, tt.says)
			}
			if left, _ := filepath.Glob(filepath.Join(dir, logbook.RunsFolder, "*.jsonl")); len(left) > 0 {
				t.Errorf("left behind: %v", left)
			}
			kept(t, setup(t, dir, survey.StateUnpowered, nil), 0) // the lock is free
		})
	}
}

func TestPriorComesFromTheSameSetUpOnly(t *testing.T) {
	dir := bed(t)
	kept(t, setup(t, dir, survey.StateUnpowered, func(s *Setup) { s.Session = "bench B" }), 5)
	if p := priorOf(t, dir, "motor"); len(p) != 0 {
		t.Errorf("another session's field is taken: %v", p)
	}
	s := setup(t, dir, survey.StateUnpowered, nil)
	kept(t, s, 4)
	p := priorOf(t, dir, "motor")
	visits, err := s.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if len(p) != 4 || p[visits.Visits[3].Station.Name] != (r3.Vec{X: 30}) {
		t.Errorf("prior %v, want the four captures of this session's unpowered run", p)
	}
	if p := priorOf(t, dir, survey.StateUnpowered); len(p) != 0 {
		t.Errorf("an unpowered run is compared with %v", p)
	}
}

func priorOf(t *testing.T, dir, state string) map[string]r3.Vec {
	t.Helper()
	s := setup(t, dir, state, nil)
	return s.prior(s.header(guide.Route{}))
}

func TestResumeGoesOnAsBegun(t *testing.T) {
	dir := bed(t)
	turned := magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}
	h, file := kept(t, setup(t, dir, "motor", func(s *Setup) {
		s.Pulsed, s.CurrentA, s.Axes, s.Most = true, new(12.0), &turned, 5
		s.Rhythm = logbook.Rhythm{Pulses: 4, OnS: 2, OffS: 2.5, DropS: 0.3}
	}), 3)
	b, err := Begin(setup(t, dir, "motor", func(s *Setup) { s.Resume = true }))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Writer.Close()
	if b.About.File != file || b.Route.Rhythm != *h.Rhythm || !b.Route.Pulsed || !slices.Equal(b.Route.Names(), h.Stations) {
		t.Errorf("%s taken up with %+v over %v, was %v over %v", b.About.File, b.Route.Rhythm, b.Route.Names(), h.Rhythm, h.Stations)
	}
	events := b.Walk.Start()
	last := events[len(events)-1]
	// Base again, then what is left of 5 stations, a repeat and the closing base.
	if last.Kind != guide.Go || last.Station.Name != "T" || last.Progress.Done != 3 || last.Progress.Total != 3+1+4+1 {
		t.Errorf("the first announcement is %+v", last)
	}
	// The stored axes turn what the sensor's y sees to -x of the craft.
	for ts := 0.0; ts < 1; ts += 0.04 {
		for _, e := range b.Walk.Sample(survey.Sample{TS: ts, B: r3.Vec{Y: 40}}) {
			if e.Kind == guide.Moving && r3.Norm(r3.Sub(e.B, r3.Vec{X: -40})) > 1e-9 {
				t.Errorf("the reading is shown as %v, want the stored axes", e.B)
			}
		}
	}
}

func TestResumeAsAnotherKindOfRunIsRefused(t *testing.T) {
	for _, tt := range []struct {
		name, says  string
		begin, then func(*Setup)
	}{
		{"pulsed", "was not pulsed", nil, func(s *Setup) { s.Pulsed = true }},
		{"substitute", "substitute", nil, func(s *Setup) { s.Substitute = true }},
		{"another current", "12 A, not 5 A", func(s *Setup) { s.CurrentA = new(12.0) }, func(s *Setup) { s.CurrentA = new(5.0) }},
		{"the craft turned", "the nose at 350 degrees, not 170", func(s *Setup) { s.NoseDeg = new(350.0) }, func(s *Setup) { s.NoseDeg = new(170.0) }},
		{"a direction of late", "without the direction of the nose", nil, func(s *Setup) { s.NoseDeg = new(170.0) }},
		{"another set-up", `"first day", not "second"`, func(s *Setup) { s.Session = "first day" }, func(s *Setup) { s.Session = "second" }},
		{"a current of late", "without a stated current", nil, func(s *Setup) { s.CurrentA = new(5.0) }},
		{"another calibration", "the calibration 0001, not 0002, and keeps to that: leave the calibration out", calibrated("0001"), calibrated("0002")},
		{"a calibration of late", "no calibration, not 0002", nil, calibrated("0002")},
		{"other axes", `the axes ["+x", "+y", "+z"], not ["+y", "-x", "+z"]`, nil, func(s *Setup) { s.Axes = &magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}} }},
		{"other stations", "begun over B1, B2, not B2, and keeps to that: leave the stations out", walking("B1", "B2"), walking("B2")},
		{"stations of late", "begun over all stations, not B2", nil, walking("B2")},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := bed(t)
			_, file := kept(t, setup(t, dir, "motor", tt.begin), 1)
			before, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			_, err = Begin(setup(t, dir, "motor", func(s *Setup) { tt.then(s); s.Resume = true }))
			if err == nil || !strings.Contains(err.Error(), tt.says) || !strings.Contains(err.Error(), "run 1") {
				t.Errorf("error %v, want %q", err, tt.says)
			}
			if after, _ := os.ReadFile(file); string(after) != string(before) {
				t.Error("the refused resume wrote into the run")
			}
		})
	}
}

func calibrated(id string) func(*Setup) {
	return func(s *Setup) {
		s.Calibration, s.Correction = id, &survey.Correction{Matrix: magmath.Diagonal(1, 1, 1)}
	}
}

func walking(names ...string) func(*Setup) { return func(s *Setup) { s.Stations = names } }

// The command that began the run takes it up again when --resume is put behind
// it, whatever it says of the calibration, the axes and the stations.
func TestResumeTakesTheCallThatBegan(t *testing.T) {
	dir := bed(t)
	same := func(s *Setup) {
		calibrated("0001")(s)
		walking("B2", " B1")(s)
		s.Axes = &magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}
	}
	kept(t, setup(t, dir, "motor", same), 1)
	b, err := Begin(setup(t, dir, "motor", func(s *Setup) { same(s); s.Resume = true }))
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Remarks) != 0 {
		t.Errorf("remarks %v", b.Remarks)
	}
	if err := b.Writer.Close(); err != nil {
		t.Fatal(err)
	}
	// Without --axes the run's own hold, and it is told that the craft file
	// has others.
	b, err = Begin(setup(t, dir, "motor", func(s *Setup) { s.Resume = true }))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Writer.Close()
	if len(b.Remarks) != 1 || b.Remarks[0].Code != "walk.keeps-axes" || b.Remarks[0].Values["axes"] != `["+y", "-x", "+z"]` {
		t.Errorf("remarks %v", b.Remarks)
	}
}

// A rhythm and a choice of stations that the run was not begun with are not
// passed over in silence.
func TestResumeTellsWhatItDoesNotTake(t *testing.T) {
	dir := bed(t)
	pulsed := func(s *Setup) {
		s.Pulsed, s.CurrentA, s.Most = true, new(12.0), 5
		s.Rhythm = logbook.Rhythm{Pulses: 4, OnS: 2, OffS: 2, DropS: 0.3}
	}
	kept(t, setup(t, dir, "motor", pulsed), 1)
	var none remark.Remark
	run := remark.Place{Run: 1}
	rhythm := remark.New("walk.keeps-rhythm", remark.Values{"pulses": 4, "on_s": 2.0, "off_s": 2.0}).At(run)
	five := remark.New("walk.keeps-stations", remark.Values{"stations": 5}).At(run)
	for _, tt := range []struct {
		name string
		more func(*Setup)
		want remark.Remark
	}{
		{"as begun", pulsed, none},
		{"nothing asked", func(*Setup) {}, none},
		{"as many pulses", func(s *Setup) { s.Rhythm = logbook.Rhythm{Pulses: 4} }, none},
		{"more pulses", func(s *Setup) { s.Rhythm = logbook.Rhythm{Pulses: 8} }, rhythm},
		{"the usual rhythm", func(s *Setup) { s.Rhythm = logbook.DefaultRhythm() }, rhythm},
		{"a longer rest", func(s *Setup) { s.Rhythm = logbook.Rhythm{Pulses: 4, OnS: 2, OffS: 3} }, rhythm},
		{"fewer stations", func(s *Setup) { s.Most = 2 }, five},
		{"places of its own", func(s *Setup) { s.Extra = []survey.Station{{Name: "between", At: r3.Vec{X: 5}}} }, five},
	} {
		b, err := Begin(setup(t, dir, "motor", func(s *Setup) { tt.more(s); s.Resume = true }))
		if err != nil {
			t.Fatalf("%s: %v", tt.name, err)
		}
		if err := b.Writer.Close(); err != nil {
			t.Fatal(err)
		}
		want := []remark.Remark{tt.want}
		if tt.want.IsZero() {
			want = nil
		}
		if !reflect.DeepEqual(b.Remarks, want) {
			t.Errorf("%s: remarks %v, want %v", tt.name, b.Remarks, tt.want)
		}
	}
}

// All stations asked for by their number are all stations.
func TestResumeOverAllStations(t *testing.T) {
	dir := bed(t)
	kept(t, setup(t, dir, "motor", nil), 1)
	b, err := Begin(setup(t, dir, "motor", func(s *Setup) { s.Most, s.Resume = 1000, true }))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Writer.Close()
	if len(b.Remarks) != 0 {
		t.Errorf("remarks %v", b.Remarks)
	}
}

func TestConfirmItemByItem(t *testing.T) {
	items := []remark.Remark{remark.New("guide.propellers-off"), remark.New("guide.tied-down")}
	for _, tt := range []struct {
		name     string
		commands []guide.Command
		ok       bool
		shown    int
	}{
		{"entered", []guide.Command{{Kind: guide.CmdCapture}, {Kind: guide.CmdConfirm}}, true, 2},
		{"stopped", []guide.Command{{Kind: guide.CmdConfirm}, {Kind: guide.CmdStop}}, false, 2},
		{"ended", []guide.Command{{Kind: guide.CmdConfirm}}, false, 2},
		{"something else", []guide.Command{{Kind: "maybe"}}, false, 1},
	} {
		commands := make(chan guide.Command, 4)
		for _, c := range tt.commands {
			commands <- c
		}
		close(commands)
		shown := 0
		err := Confirm(t.Context(), items, commands, func(e guide.Event) error {
			if e.Kind != guide.Checklist || !reflect.DeepEqual(e.Items, items[shown:]) {
				t.Errorf("%s: shown %+v after %d", tt.name, e, shown)
			}
			shown++
			return nil
		})
		if (err == nil) != tt.ok || shown != tt.shown {
			t.Errorf("%s: %v after %d shown", tt.name, err, shown)
		}
	}
}
