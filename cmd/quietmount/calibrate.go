package main

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"time"

	"github.com/urfave/cli/v2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/calib"
	"quietmount/report/answer"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/calibrate"
	"quietmount/survey/craftfile"
	"quietmount/survey/csvfile"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
)

func runCalibrate(c *cli.Context, sh shell) error {
	dir, file, err := folderAndFile(c)
	if err != nil {
		return err
	}
	if file != "" && (c.String("port") != "" || c.String("replay") != "") {
		return wrong("leave one of them out", "calibrate takes readings either from %s or from a port", file)
	}
	craft, err := craftfile.Load(dir)
	if err != nil {
		return err
	}
	o, err := calibrateOptions(c, craft, sh.Now())
	if err != nil {
		return err
	}
	held, err := heldAgainst(c, sh, dir, craft)
	if err != nil {
		return err
	}
	samples, source, err := calibrateSamples(c, sh, craft, file)
	if err != nil {
		return err
	}
	samples = between(samples, optionalFloat(c, "from-s"), optionalFloat(c, "to-s"))
	r, err := calibrate.Fit(c.Context, samples, o)
	if err != nil {
		return err
	}
	in := answer.CalibrateInput{Result: r, ReferenceUT: o.ReferenceUT, Source: source}
	if in.Result.Accepted {
		if in, err = storeCalibration(in, held, dir, craft, samples, sh.Now()); err != nil {
			return err
		}
	}
	if name := c.String("picture"); name != "" {
		if err := drawSphere(name, in, samples, craft); err != nil {
			return err
		}
	}
	a := answer.NewCalibrate(in)
	return show(c, sh, a, a.OK())
}

// drawSphere draws the covered part of the sphere, accepted or not.
func drawSphere(name string, in answer.CalibrateInput, samples []survey.Sample, craft *survey.Craft) error {
	c := logbook.NewCalibration(in.Result, samples, words.Terminal.Say)
	c.ID, c.Probe = in.ID, craft.MeasuringModule().Name
	p, err := picture.Calibration(c)
	if err != nil {
		return err
	}
	return drawTo(name, p)
}

// calibrateOptions returns the craft file's options, overridden by the flags.
func calibrateOptions(c *cli.Context, craft *survey.Craft, now time.Time) (calib.Options, error) {
	o := calibrate.Options(craft, now)
	scales := map[string]calib.ScaleFrom{"auto": calib.FromEither, "reference": calib.FromReference, "probe": calib.FromProbe}
	scale, ok := scales[c.String("scale-from")]
	if !ok {
		return o, wrong("outdoors reference, indoors probe", "--scale-from %q: want auto, reference or probe", c.String("scale-from"))
	}
	o.Scale = scale
	if word := c.String("parameters"); word != "auto" {
		n, err := strconv.Atoi(word)
		if err != nil || n != 3 && n != 4 && n != 6 && n != 9 {
			return o, wrong("auto suits most", "--parameters %q: want auto, 3, 4, 6 or 9", word)
		}
		o.Parameters = n
	}
	if c.IsSet("tilt-deg") {
		o.TiltDeg = c.Float64("tilt-deg")
		if !(o.TiltDeg >= 0 && o.TiltDeg <= 180) {
			return o, wrong("degrees from level", "--tilt-deg %g: from 0 to 180", o.TiltDeg)
		}
	}
	o.Prior = calib.Prior{Gain: c.Float64("prior-gain"), Cross: c.Float64("prior-cross")}
	if !(o.Prior.Gain > 0 && o.Prior.Gain <= 0.5 && o.Prior.Cross > 0 && o.Prior.Cross <= 0.5) {
		return o, wrong("0.03 and 0.02 suit most modules", "--prior-gain %g, --prior-cross %g: more than 0, at most 0.5", o.Prior.Gain, o.Prior.Cross)
	}
	return o, nil
}

// calibrateSamples returns the readings of the file or of a guided turn.
func calibrateSamples(c *cli.Context, sh shell, craft *survey.Craft, file string) ([]survey.Sample, string, error) {
	if file != "" {
		samples, err := calibrateFile(c, sh, file)
		return samples, file, err
	}
	if s := c.Float64("for-s"); !(s >= calibrate.LeastS && s <= calibrate.MostS) {
		return nil, "", wrong("a minute or two suit most", "--for-s %g: from 3 to 3600", s)
	}
	if p := c.Float64("covered-percent"); !(p > 0 && p <= 100) {
		return nil, "", wrong("75 suits most", "--covered-percent %g: more than 0, at most 100", p)
	}
	source, err := openSource(c, sh, craft)
	if err != nil {
		return nil, "", err
	}
	defer source.Close()
	t := &turning{
		Turn: calibrate.For(craft, sh.Now(), c.Float64("for-s"), c.Float64("covered-percent")/100),
		sh:   sh, source: source, replay: c.String("replay") != "", what: "probe",
	}
	if c.Bool("on-craft") {
		t.what = "whole craft, everything fitted and off,"
	}
	if t.replay && !c.IsSet("for-s") {
		t.ForS, t.Enough = math.Inf(1), 2 // a recorded turn is taken whole
	}
	err = t.take(c.Context)
	return t.Samples, source.name, err
}

func calibrateFile(c *cli.Context, sh shell, file string) ([]survey.Sample, error) {
	r, err := openInput(file, sh)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	samples, err := csvfile.ReadCalibration(c.Context, r, file)
	if err != nil {
		return nil, withHint(err, "the file wants a header t_s,bx,by,bz and one row a reading in microtesla")
	}
	if scale := c.Float64("scale"); c.IsSet("scale") {
		if !(scale > 0) || math.IsInf(scale, 0) {
			return nil, wrong("e.g. --scale 0.1 for milligauss", "--scale %g: want a positive number", scale)
		}
		for i := range samples {
			samples[i].B = r3.Scale(scale, samples[i].B)
		}
	}
	return samples, nil
}

// between returns the readings between the times; nil: no limit.
func between(samples []survey.Sample, from, to *float64) []survey.Sample {
	var out []survey.Sample
	for _, s := range samples {
		if (from == nil || s.TS >= *from) && (to == nil || s.TS <= *to) {
			out = append(out, s)
		}
	}
	return out
}

// turning shows the progress of a turn on the terminal.
type turning struct {
	*calibrate.Turn
	sh     shell
	source namedSource
	replay bool
	what   string  // is turned: the probe, or the whole craft
	shownS float64 // when the last line of progress was shown
}

// take ends at enough coverage, at Enter, after the time, or with the stream.
func (t *turning) take(ctx context.Context) error {
	if err := await(ctx, t.sh, namedSource{Source: tapped{t.source.Source, t.keep}, name: t.source.name}); err != nil {
		return err
	}
	say(t.sh.Err, "quietmount: turn the %s slowly through all directions, like rolling a ball in the hand; Enter ends it", t.what)
	limited, cancel := t.limit(ctx)
	defer cancel()
	enter := lines(limited, t.sh)
	stopped := func() bool {
		select {
		case _, ok := <-enter:
			if !ok {
				enter = nil // no operator at the input: coverage and time decide
			}
			return ok
		default:
			return false
		}
	}
	err := t.Take(limited, t.source, stopped, func(item link.Item) {
		if item.Kind != link.Reading {
			say(t.sh.Err, "quietmount: %s", words.Terminal.Say(item.Says))
		}
		t.show(item.TS)
	})
	if err != nil && ctx.Err() == nil && limited.Err() != nil {
		err = nil // the time is over
	}
	if err != nil {
		return err
	}
	t.close()
	return nil
}

// limit ends the wait for a silent port; a recorded stream ends by itself.
func (t *turning) limit(ctx context.Context) (context.Context, context.CancelFunc) {
	if t.replay {
		return context.WithCancel(ctx)
	}
	return context.WithTimeout(ctx, time.Duration(t.ForS*float64(time.Second)))
}

func (t *turning) keep(item link.Item) {
	if item.Kind == link.Reading {
		t.Add(item.Sample)
	}
}

// show shows on a terminal, twice a second, how much is covered and which way to
// turn.
func (t *turning) show(ts float64) {
	if !t.sh.Terminal.Err || ts-t.shownS < 0.5 {
		return
	}
	t.shownS = ts
	line := fmt.Sprintf("covered %3.0f %%", 100*t.Progress.Covered())
	if h, ok := t.Progress.Hint(); ok {
		line += ": " + words.Terminal.Say(h.Remark())
	}
	fmt.Fprintf(t.sh.Err, "\r%-78.78s", line)
}

func (t *turning) close() {
	if t.sh.Terminal.Err {
		fmt.Fprintln(t.sh.Err)
	}
	say(t.sh.Err, "quietmount: %d readings, %.0f %% of the sphere", len(t.Samples), 100*t.Progress.Covered())
}

// heldAgainst returns the promise to compare a calibration of the finished craft
// with; nil without --on-craft. It is read before the craft is turned.
func heldAgainst(c *cli.Context, sh shell, dir string, craft *survey.Craft) (*promise, error) {
	if c.Bool("on-craft") {
		return openPromise(c, sh, dir, craft)
	}
	for _, name := range []string{"loose", "spot"} {
		if c.IsSet(name) {
			return nil, wrong("add --on-craft", "--%s belongs to the calibration of a finished craft", name)
		}
	}
	return nil, nil
}

// storeCalibration stores an accepted calibration and compares that of the
// finished craft with the promise.
func storeCalibration(in answer.CalibrateInput, held *promise, dir string, craft *survey.Craft, samples []survey.Sample, now time.Time) (answer.CalibrateInput, error) {
	use := "quietmount survey %s --calibration %s"
	if held != nil {
		use = "quietmount swing %s --calibration %s"
	}
	taken := calibrate.Taken{
		Result: in.Result, Samples: samples, ReferenceUT: in.ReferenceUT, OnCraft: held != nil, Source: in.Source, Tool: version(), Words: words.Terminal.Say,
	}
	stored, file, err := taken.Store(dir, craft, now)
	if err != nil {
		return in, err
	}
	in.ID, in.File, in.Use = stored.ID, file, fmt.Sprintf(use, words.Quote(dir), stored.ID)
	if held == nil {
		return in, nil
	}
	p, kept, err := held.compare(&stored)
	in.OnCraft, in.Promise, in.Kept = true, &p, kept
	return in, err
}
