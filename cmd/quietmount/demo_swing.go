package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/magmath/calib"
	deviation "quietmount/magmath/swing"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/calibrate"
	"quietmount/survey/evaluate"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// demoFinish is the end of the demonstration: the module on the best spot.
type demoFinish struct {
	ctx      context.Context
	progress io.Writer
	folder   *logbook.Folder
	world    *sim.World
	start    time.Time
	seed     uint64
	spot     rank.Spot
}

// simulateArrowAndSwing mounts the simulated module on the first spot,
// calibrates it loose and on the finished craft, checks its arrow and swings
// the craft. It stores the calibrations, the arrow check and the swing in the
// folder and shows their results on progress. It does nothing if the ranking has
// no spot.
func simulateArrowAndSwing(ctx context.Context, progress io.Writer, folder *logbook.Folder, world *sim.World, found *evaluate.Findings, ranking *rank.Ranking, start time.Time, seed uint64) error {
	if ranking == nil || len(ranking.Spots) == 0 {
		return nil
	}
	d := demoFinish{ctx: ctx, progress: progress, folder: folder, world: world, start: start, seed: seed, spot: ranking.Spots[0]}
	say(progress, "  on the finished craft, module at spot 1:")
	loose, onCraft, err := d.calibrate()
	if err != nil {
		return fmt.Errorf("calibrations of the demonstration: %w", err)
	}
	if err := d.arrow(onCraft); err != nil {
		return fmt.Errorf("arrow check of the demonstration: %w", err)
	}
	if err := d.swing(onCraft); err != nil {
		return fmt.Errorf("swing of the demonstration: %w", err)
	}
	held, kept, err := swing.PromiseAt(found, rank.Mount{At: d.spot.At, HeightMM: d.spot.HeightMM}, onCraft, loose)
	if err == nil {
		say(progress, "  %s", answer.PromiseSentence(held, kept))
	} else if !errors.Is(err, swing.ErrNoPromise) {
		return err
	}
	return nil
}

// craft is the simulated craft with its module, in somebody's hands or on a
// turntable. The hand glues it within a degree or so.
func (d demoFinish) craft(turntable bool, seed uint64) *sim.Finished {
	pose := 1.2
	if turntable {
		pose = 0.5
	}
	return sim.NewFinished(d.world, sim.DefaultProbe(), sim.FinishedOptions{
		Spot: d.spot.At, HeightMM: d.spot.HeightMM, TwistDeg: math.Mod(float64(d.seed)*1.37, 3) - 1.5,
		PoseDeg: pose, Turntable: turntable, Seed: d.seed + seed,
	})
}

// calibrate calibrates the loose module, then the finished craft.
func (d demoFinish) calibrate() (loose, onCraft *logbook.Calibration, err error) {
	const seconds = 90
	o := calibrate.Options(d.folder.Craft, d.start)
	o.Scale = calib.FromProbe
	store := func(away bool, at time.Time, source string) (*logbook.Calibration, error) {
		samples := d.craft(false, 1).Tumble(seconds, away)
		r, err := calibrate.Fit(d.ctx, samples, o)
		if err != nil {
			return nil, err
		}
		c := logbook.NewCalibration(r, samples, words.Terminal.Say)
		c.Created, c.Tool, c.Source, c.OnCraft = at, version(), source, !away
		c.Craft, c.Probe = d.folder.Craft.Name, d.folder.Craft.Module.Name
		stored, _, err := c.Save(d.folder.Dir)
		return &stored, err
	}
	if loose, err = store(true, d.start, "simulated module, loose"); err != nil {
		return nil, nil, err
	}
	onCraft, err = store(false, d.start.Add(5*time.Minute), "simulated module, on the finished craft")
	return loose, onCraft, err
}

// arrow checks which way the module lies.
func (d demoFinish) arrow(c *logbook.Calibration) error {
	site, marks := swing.SiteOf(d.folder.Craft, d.start), swing.Marks(0, false)
	h := logbook.SwingHeader{What: logbook.SwingArrow, Reference: marks.Kind, ZeroSUDeg: marks.SUDeg, HeadingSU: 1.5, Calibrated: true}
	dwells, correction, err := d.take(c, h, swing.ArrowRoute(swing.UsualPoses(false, true)), d.craft(false, 2), 10*time.Minute)
	if err != nil {
		return err
	}
	poses, err := swing.Poses(d.ctx, dwells, correction, site.FieldUT)
	if err != nil {
		return err
	}
	a, err := arrow.Check(poses, arrow.Options{Calibrated: true, ReferenceDeg: marks.SUDeg, PoseDeg: h.HeadingSU, Field: site.FieldUT, Axes: d.folder.Craft.Module.Axes})
	if err != nil {
		return err
	}
	found := answer.NewArrow(answer.ArrowInput{Arrow: a, Poses: poses, LimitDeg: d.folder.Craft.Limits.HeadingErrorDeg, Calibrated: true})
	say(d.progress, "  arrow            points to the %s, label faces %s, twisted %.1f +- %.1f degrees: %s",
		a.ArrowPoints, a.LabelFaces, a.TwistDeg, a.TwistStandardDeg, passed(found.OK))
	return nil
}

func passed(ok bool) string {
	if ok {
		return "right"
	}
	return "not right"
}

// swing turns the craft through eight headings.
func (d demoFinish) swing(c *logbook.Calibration) error {
	ref := swing.Marks(0, false)
	h := logbook.SwingHeader{What: logbook.SwingHeadings, Reference: ref.Kind, ZeroSUDeg: ref.SUDeg, HeadingSU: 1, Calibrated: true, ReferenceFrom: words.Terminal.Say(ref.From)}
	h.Axes = d.folder.Craft.Module.Axes
	dwells, correction, err := d.take(c, h, swing.HeadingRoute(swing.UsualHeadings(8)), d.craft(true, 3), 20*time.Minute)
	if err != nil {
		return err
	}
	readings, _, err := swing.Readings(d.ctx, dwells, correction, h.Axes, ref)
	if err != nil {
		return err
	}
	s, err := deviation.Fit(readings, deviation.Options{HeadingDeg: 1, ReferenceDeg: ref.SUDeg})
	if err != nil {
		return err
	}
	found := answer.NewSwing(answer.SwingInput{Swing: s, LimitDeg: d.folder.Craft.Limits.HeadingErrorDeg, Reference: words.Terminal.Say(ref.From)})
	say(d.progress, "  swing            largest deviation %.1f degrees at heading %03.0f (A %+.1f, B %+.1f, C %+.1f): %s",
		s.MaxDeviation, s.At, s.Approximate.A, s.Approximate.B, s.Approximate.C, passed(found.OK))
	return nil
}

// take walks a route with the simulated craft and stores it.
func (d demoFinish) take(c *logbook.Calibration, h logbook.SwingHeader, route *guide.Route, craft *sim.Finished, after time.Duration) ([]swing.Dwell, *survey.Correction, error) {
	correction, err := logbook.LoadCorrection(d.folder.Dir, c.ID)
	if err != nil {
		return nil, nil, err
	}
	start := d.start.Add(after)
	file := d.folder.Craft
	h.Spot = &logbook.Mounted{XMM: d.spot.At.X, YMM: d.spot.At.Y, ZMM: d.spot.At.Z, HeightMM: d.spot.HeightMM}
	h.Header = logbook.Header{
		CraftSHA256: file.SHA256, Craft: file.Name, State: survey.StateUnpowered, Probe: file.Module.Name, Axes: h.Axes, Calibration: c.ID, Correction: correction,
		Port: logbook.SimulatedPort, Decoder: "none", Tool: version(), Started: start, Fitted: file.Body.Fitted,
	}
	axes := h.Axes
	if axes == nil {
		axes = new(magmath.Identity())
	}
	g, err := guide.New(guide.Config{Craft: file, State: survey.StateUnpowered, Route: route, SkipChecklist: true, Axes: axes, Correction: correction})
	if err != nil {
		return nil, nil, err
	}
	w, err := logbook.CreateSwing(d.folder.Dir, h)
	if err != nil {
		return nil, nil, err
	}
	_, err = walk.Run(d.ctx, walk.Config{
		Source: craft, Commands: craft.Commands(), Walk: g, Writer: w,
		Face:  func(e guide.Event) error { craft.Show(e); return nil },
		Now:   func() time.Time { return start.Add(time.Duration(craft.Now() * float64(time.Second))) },
		Words: words.Terminal.Say,
	})
	if err := errors.Join(err, w.Close(), d.ctx.Err()); err != nil {
		return nil, nil, err
	}
	all, err := logbook.LoadSwings(d.folder.Dir)
	if err != nil {
		return nil, nil, err
	}
	dwells, err := swing.FromFile(all[len(all)-1])
	return dwells, correction, err
}
