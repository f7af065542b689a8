package logbook_test

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/csvfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
	"quietmount/survey/verify"
)

// One capture goes to everything that decides whether it can be used: the
// walk, the import, the check of the folder and the evaluation.
func TestFullScaleIsDecidedAlike(t *testing.T) {
	for _, tt := range []struct {
		name    string
		pulsed  bool
		atLimit func(i int, on bool) bool // of the i-th sample of the dwell
		leftOut bool
	}{
		{"two samples at the limit", false, func(i int, _ bool) bool { return i == 20 || i == 50 }, false},
		{"one in ten", false, func(i int, _ bool) bool { return i%10 == 5 }, true},
		{"pulsed, two samples", true, func(i int, _ bool) bool { return i == 20 || i == 460 }, false},
		{"pulsed, one in twelve with the load on", true, func(i int, on bool) bool { return on && i%12 == 5 }, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := newFullScaleTrial(t, tt.pulsed)
			c, code := f.walk(tt.atLimit)
			if want := map[bool]string{true: guide.CodeSaturated}[tt.leftOut]; code != want {
				t.Errorf("the walk says %q, want %q", code, want)
			}
			for who, says := range map[string]bool{"import": f.imported(t.Context(), c), "verify": f.verified(t.Context()), "evaluation": f.evaluated(t.Context())} {
				if says != tt.leftOut {
					t.Errorf("%s leaves it out: %t, want %t", who, says, tt.leftOut)
				}
			}
		})
	}
}

// fullScaleTrial is a folder with a background and the craft unpowered at
// three stations, to which a capture under test is added.
type fullScaleTrial struct {
	t      *testing.T
	dir    string
	craft  *survey.Craft
	state  string
	rhythm logbook.Rhythm
	pulsed bool
}

func newFullScaleTrial(t *testing.T, pulsed bool) fullScaleTrial {
	f := fullScaleTrial{t: t, dir: logbooktest.Folder(t), state: survey.StateUnpowered, pulsed: pulsed}
	if pulsed {
		f.state, f.rhythm = "left thruster", logbook.Rhythm{Pulses: 4, OnS: 2, OffS: 6, DropS: 0.3}
	}
	var err error
	if f.craft, err = craftfile.Load(f.dir); err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	for _, state := range []string{survey.StateBackground, survey.StateUnpowered} {
		h := logbooktest.Header(state)
		h.CraftSHA256 = f.craft.SHA256
		w := logbooktest.Create(t, f.dir, h)
		for i, s := range f.craft.Stations()[:3] {
			c := logbooktest.Capture(rng, i+1, 100, 0)
			c.Station, c.At = s.Name, s.At
			if err := w.Append(c); err != nil {
				t.Fatal(err)
			}
		}
		logbooktest.Close(t, w)
	}
	return f
}

// place is the station of the capture under test.
func (f fullScaleTrial) place() survey.Station { return f.craft.Stations()[1] }

// walk drives a walk over one station, of which some samples of the dwell are
// at full scale; it returns what was captured, or would have been, and the
// code of the refusal.
func (f fullScaleTrial) walk(atLimit func(int, bool) bool) (c logbook.Capture, code string) {
	clean, code := f.capture(func(float64, bool) bool { return false })
	if code != "" || len(clean.Samples) < 60 {
		f.t.Fatalf("%d samples, %q", len(clean.Samples), code)
	}
	from, to := clean.Samples[0].TS, clean.Samples[len(clean.Samples)-1].TS
	at := func(ts float64, on bool) bool {
		return ts >= from && ts <= to && atLimit(int(math.Round((ts-from)/fullScaleStepS)), on)
	}
	if c, code = f.capture(at); code == "" {
		return c, ""
	}
	on := false
	for i := range clean.Samples {
		s := &clean.Samples[i]
		for _, p := range clean.Prompts {
			if p.TS <= s.TS {
				on = p.On
			}
		}
		if at(s.TS, on) {
			s.B.Z = f.craft.Module.RangeUT
		}
	}
	return clean, code
}

const fullScaleStepS = 0.04 // between samples

// capture walks to the one station; atLimit picks samples at full scale.
func (f fullScaleTrial) capture(atLimit func(ts float64, on bool) bool) (c logbook.Capture, code string) {
	w, err := guide.New(guide.Config{
		Craft: f.craft, State: f.state, Pulsed: f.pulsed, Rhythm: f.rhythm, SkipChecklist: true,
		Route: &guide.Route{Visits: []guide.Visit{{Station: f.place(), Kind: logbook.VisitStation}}},
	})
	if err != nil {
		f.t.Fatal(err)
	}
	rng, on := rand.New(rand.NewPCG(5, 6)), false
	w.Start()
	events := w.Command(guide.Command{Kind: guide.CmdCapture})
	for i := range 1500 {
		for _, e := range events {
			switch e.Kind {
			case guide.Switch:
				on = e.On
			case guide.Store:
				return *e.Capture, ""
			case guide.Rejected:
				return c, e.Code()
			}
		}
		s := survey.Sample{TS: fullScaleStepS * float64(i), B: r3.Vec{X: 17 + 0.3*rng.NormFloat64(), Y: -3 + 0.3*rng.NormFloat64(), Z: 44 + 0.3*rng.NormFloat64()}}
		if on {
			s.B.Y += 12
		}
		if atLimit(s.TS, on) {
			s.B.Z = f.craft.Module.RangeUT
		}
		events = w.Sample(s)
	}
	f.t.Fatal("the dwell never ends")
	return c, ""
}

// imported writes the capture as CSV, imports it into the folder and reports
// whether the import warns of it.
func (f fullScaleTrial) imported(ctx context.Context, c logbook.Capture) bool {
	f.t.Helper()
	h := logbooktest.Header(f.state)
	h.Pulsed = f.pulsed
	var csv bytes.Buffer
	if err := csvfile.Export(&csv, &logbook.Run{Header: h, Captures: []logbook.Capture{c}}); err != nil {
		f.t.Fatal(err)
	}
	o := csvfile.Options{State: f.state, Pulsed: f.pulsed, Started: logbooktest.Start}
	if f.pulsed {
		o.Rhythm = &f.rhythm
	}
	in, err := csvfile.Import(ctx, &csv, "x.csv", o, f.craft)
	if err != nil {
		f.t.Fatal(err)
	}
	if _, err := in.Save(f.dir, func(r remark.Remark) string { return r.Code }); err != nil {
		f.t.Fatal(err)
	}
	return slices.ContainsFunc(in.Warnings, func(r remark.Remark) bool { return r.Code == "logbook.at-full-scale" })
}

func (f fullScaleTrial) verified(ctx context.Context) bool {
	return slices.ContainsFunc(verify.Folder(ctx, f.dir), func(p verify.Problem) bool { return p.Remark.Code == "logbook.at-full-scale" })
}

func (f fullScaleTrial) evaluated(ctx context.Context) bool {
	f.t.Helper()
	runs, err := logbook.LoadRuns(ctx, f.dir)
	if err != nil {
		f.t.Fatal(err)
	}
	found, err := evaluate.Evaluate(ctx, f.craft, runs, evaluate.Options{Date: "2026-06-01"})
	if err != nil {
		f.t.Fatal(err)
	}
	for _, n := range found.Notes {
		if n.Code == "evaluate.capture_left_out" || n.Code == "evaluate.run_untimed" {
			f.t.Error(n)
		}
	}
	for _, s := range found.Stations {
		if s.Station.Name == f.place().Name {
			if said := remark.Has(found.Notes, "logbook.at-full-scale"); said != s.Saturated {
				f.t.Errorf("left out: %t, said: %t", s.Saturated, said)
			}
			return s.Saturated
		}
	}
	f.t.Fatal("the station is not among the findings")
	return false
}
