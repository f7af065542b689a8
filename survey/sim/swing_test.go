package sim

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	angles "quietmount/magmath/heading"
	"quietmount/magmath/remark"
	deviation "quietmount/magmath/swing"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// notebook keeps captures in memory.
type notebook struct{ captures []logbook.Capture }

func (n *notebook) Append(c logbook.Capture) error { n.captures = append(n.captures, c); return nil }
func (n *notebook) Note(logbook.Note) error        { return nil }
func (n *notebook) Void(int, string, time.Time) error {
	return errors.New("nothing is voided here")
}

// played walks a route with the craft and gives the captures.
func played(t *testing.T, f *Finished, r *guide.Route, handsFree bool) *logbook.SwingFile {
	t.Helper()
	g, err := guide.New(guide.Config{
		Craft: f.world.Craft, State: survey.StateUnpowered, Route: r, SkipChecklist: true, HandsFree: handsFree, Axes: new(magmath.Identity()),
	})
	if err != nil {
		t.Fatal(err)
	}
	n := &notebook{}
	start := time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)
	sum, err := walk.Run(context.Background(), walk.Config{
		Source: f, Commands: f.Commands(), Walk: g, Writer: n,
		Face:  func(e guide.Event) error { f.Show(e); return nil },
		Now:   func() time.Time { return start.Add(time.Duration(f.Now() * float64(time.Second))) },
		Words: func(r remark.Remark) string { return r.Code },
	})
	if err != nil || !sum.Finished {
		t.Fatalf("%+v, %v", sum, err)
	}
	return &logbook.SwingFile{Run: &logbook.Run{Captures: n.captures}, Swing: logbook.SwingHeader{What: logbook.SwingHeadings}}
}

func mustSandpiper(t *testing.T) *World {
	t.Helper()
	w, err := Sandpiper(3)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

var spot = r3.Vec{X: -240, Z: -20}

func TestSimulatedSwingComesBack(t *testing.T) {
	for _, acc := range []bool{false, true} {
		w := mustSandpiper(t)
		f := NewFinished(w, Probe{RateHz: 50, NoiseUT: 0.3, Lag1: 0.6, Acc: acc}, FinishedOptions{Spot: spot, TwistDeg: 6, PoseDeg: 0.3, Turntable: true, Seed: 4})
		s := fitted(t, f, deviation.Options{HeadingDeg: 0.5, Exact: true})
		if s.Cause.Kind != deviation.CauseNone {
			t.Errorf("acc %v: accused: %+v", acc, s.Cause)
		}
		// The truth: twist and curve of the craft as simulated.
		for _, r := range s.Rows {
			want := f.TrueDeviation(r.MagneticDeg, r3.Vec{}) - 6
			if math.Abs(angles.Wrap180(r.FittedDeg-want)) > 1 {
				t.Errorf("acc %v: at %.0f fitted %.2f, true %.2f", acc, r.MagneticDeg, r.FittedDeg, want)
			}
		}
	}
}

func fitted(t *testing.T, f *Finished, o deviation.Options) deviation.Result {
	t.Helper()
	dwells, err := swing.FromFile(played(t, f, swing.HeadingRoute(swing.UsualHeadings(8)), false))
	if err != nil {
		t.Fatal(err)
	}
	readings, _, err := swing.Readings(t.Context(), dwells, nil, f.world.Craft.Module.Axes, swing.Marks(0, false))
	if err != nil {
		t.Fatal(err)
	}
	s, err := deviation.Fit(readings, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSimulatedMistakesAreNamed(t *testing.T) {
	for mistake, kind := range map[SwingMistake]deviation.CauseKind{
		HalfTurn: deviation.CauseHalfTurn, TurntableMoved: deviation.CauseTurntable, MagnetMoved: deviation.CauseMagnet,
	} {
		f := NewFinished(mustSandpiper(t), DefaultProbe(), FinishedOptions{
			Spot: spot, PoseDeg: 0.5, Turntable: true, Seed: 5, Mistake: mistake, MistakeAt: 4,
		})
		s := fitted(t, f, deviation.Options{})
		if s.Cause.Kind != kind || s.Cause.First != 3 {
			t.Errorf("%s: %+v", mistake, s.Cause)
		}
	}
}

func TestSimulatedArrow(t *testing.T) {
	// The case is glued with the arrow to the right and the label up, 4 degrees
	// clockwise; the probe has an offset of its own that nobody took out.
	right := magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}
	for _, handsFree := range []bool{false, true} {
		w := mustSandpiper(t)
		p := DefaultProbe()
		p.OffsetUT = r3.Vec{X: 12, Y: -30, Z: 22}
		f := NewFinished(w, p, FinishedOptions{Spot: spot, Case: right, TwistDeg: 4, PoseDeg: 1, Seed: 6})
		file := played(t, f, swing.ArrowRoute(swing.UsualPoses(false, false)), handsFree)
		file.Swing.What = logbook.SwingArrow
		dwells, err := swing.FromFile(file)
		if err != nil {
			t.Fatal(err)
		}
		field := w.Room.Reference
		poses, err := swing.Poses(t.Context(), dwells, nil, field)
		if err != nil {
			t.Fatal(err)
		}
		a, err := arrow.Check(poses, arrow.Options{Field: field, Axes: w.Craft.Module.Axes})
		if err != nil {
			t.Fatal(err)
		}
		if a.ArrowPoints != arrow.ToRight || a.LabelFaces != arrow.ToUp || a.Mirrored || math.Abs(a.TwistDeg-4) > 3*a.TwistStandardDeg {
			t.Errorf("hands-free %v: %s, %s, twist %.1f +- %.1f, mirrored %v, %v", handsFree, a.ArrowPoints, a.LabelFaces, a.TwistDeg, a.TwistStandardDeg, a.Mirrored, a.Remarks)
		}
		// Besides its own offset the check sees the craft's magnets, in the
		// sensor's axes; the craft's iron is left over.
		want := r3.Add(p.OffsetUT, f.InCase(f.SteadyAtSensor()))
		if off := r3.Norm(r3.Sub(a.OffsetUT, want)); off > 3 {
			t.Errorf("offset %v, want %v", a.OffsetUT, want)
		}
	}
}

func TestSimulatedSwingRepeats(t *testing.T) {
	once := func() deviation.Result {
		return fitted(t, NewFinished(mustSandpiper(t), DefaultProbe(), FinishedOptions{Spot: spot, PoseDeg: 1, Turntable: true, Seed: 9}), deviation.Options{})
	}
	if a, b := once(), once(); a.Approximate != b.Approximate {
		t.Errorf("%+v and %+v", a.Approximate, b.Approximate)
	}
}
