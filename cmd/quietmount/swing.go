package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	deviation "quietmount/magmath/swing"
	"quietmount/report/answer"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

func runSwing(c *cli.Context, sh shell) error {
	f, err := openFinish(c, sh, logbook.SwingHeadings)
	if err != nil {
		return err
	}
	in, err := f.swing(c)
	if err != nil {
		return err
	}
	a := answer.NewSwing(in)
	if n := c.Int("before"); n != 0 {
		before, err := f.stored(c, n)
		if err != nil {
			return err
		}
		a.Against(n, before.Swing, in.Swing)
	}
	if c.IsSet("spot") || c.IsSet("on-craft") || c.IsSet("loose") {
		if err := f.promise(c, &a); err != nil {
			return err
		}
	}
	if card := c.String("card"); card != "" {
		name := ""
		if f.craft != nil {
			name = f.craft.Name
		}
		if err := drawTo(card, picture.DeviationCard(name, a)); err != nil {
			return err
		}
	}
	if f.guided {
		a.Event = "answer"
	}
	return f.print(c, a, a.OK)
}

// swing takes, reads or finds a stored swing, and fits it.
func (f *finish) swing(c *cli.Context) (answer.SwingInput, error) {
	switch {
	case f.input != "":
		return f.swingFromFile(c)
	case walks(c):
		return f.takeSwing(c)
	}
	return f.stored(c, c.Int("number"))
}

// swingFromFile reads a CSV file.
func (f *finish) swingFromFile(c *cli.Context) (answer.SwingInput, error) {
	var none answer.SwingInput
	at, err := f.moment(c)
	if err != nil {
		return none, err
	}
	r, err := openInput(f.input, f.sh)
	if err != nil {
		return none, err
	}
	defer r.Close()
	dwells, err := swing.ReadHeadings(r, f.input, at)
	if err != nil {
		return none, withHint(err, "see: quietmount swing --help")
	}
	ref, err := f.reference(c, dwells)
	if err != nil {
		return none, err
	}
	axes, err := f.axes(c)
	if err != nil {
		return none, err
	}
	in, err := f.fit(c.Context, swing.Series{Dwells: dwells, Correction: f.correction, Axes: axes, Reference: ref, HeadingSUDeg: c.Float64("heading-su-deg"), Exact: c.Bool("exact")})
	in.State, in.CurrentA = c.String("state"), optionalFloat(c, "current-a")
	return in, err
}

func (f *finish) axes(c *cli.Context) (*magmath.Mat3, error) {
	if text := c.String("axes"); text != "" {
		m, err := survey.ParseAxes(text)
		if err != nil {
			return nil, wrong("e.g. --axes +x,+y,+z", "--axes: %v", err)
		}
		return &m, nil
	}
	return f.unit.Axes, nil
}

// takeSwing walks the headings.
func (f *finish) takeSwing(c *cli.Context) (answer.SwingInput, error) {
	var none answer.SwingInput
	headings, err := headingsOf(c.String("headings"))
	if err != nil {
		return none, err
	}
	ref, err := f.reference(c, nil)
	if err != nil {
		return none, err
	}
	axes, err := f.axes(c)
	if err != nil {
		return none, err
	}
	f.unit.Axes = axes
	header := logbook.SwingHeader{
		What: logbook.SwingHeadings, Reference: ref.Kind, ZeroDeg: ref.ZeroDeg, ZeroSUDeg: ref.SUDeg, Relative: ref.Relative,
		HeadingSU: c.Float64("heading-su-deg"), Calibrated: f.calibrated, ReferenceFrom: words.Terminal.Say(ref.From),
	}
	header.State, header.Calibration = c.String("state"), c.String("calibration")
	if header.State != "" {
		if err := checkState(f.craft, header.State); err != nil {
			return none, err
		}
		if header.State == survey.StateBackground {
			return none, wrong("leave --state out, or name a load", "--state background: a swing without the craft says nothing")
		}
	}
	if a := optionalFloat(c, "current-a"); a != nil {
		header.CurrentA = a
	}
	taken, err := f.walk(c, header, swing.HeadingRoute(headings))
	if err != nil {
		return none, err
	}
	in, err := answer.StoredSwing(c.Context, words.Terminal, taken, f.limitDeg, c.Bool("exact"))
	if f.early {
		in.Remarks = append(in.Remarks, remark.New("swing.stopped-early"))
	}
	return in, f.tooFew(err)
}

// headingsOf parses a number of headings, or the marks themselves.
func headingsOf(text string) ([]float64, error) {
	list, err := swing.CountedHeadings(text)
	if err != nil {
		return nil, wrong("8 are usual, 16 tell more; e.g. --headings 12, or --headings 0,40,90,140,180,230,270,320", "--headings: %v", err)
	}
	return list, nil
}

// moment returns the time of --at.
func (f *finish) moment(c *cli.Context) (time.Time, error) {
	text := c.String("at")
	if text == "" {
		return f.sh.Now(), nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return at, wrong("e.g. --at 2026-06-01T15:04:05+01:00", "--at %q is no moment with its zone", text)
	}
	return at, nil
}

// reference returns the reference direction of the marks.
func (f *finish) reference(c *cli.Context, dwells []swing.Dwell) (swing.Reference, error) {
	var none swing.Reference
	kind := c.String("reference")
	bySun := len(dwells) > 0 && dwells[0].SunDeg != nil
	if c.Bool("relative") && kind != logbook.ReferenceMarks {
		return none, wrong("leave one of them out", "--relative with --reference %s: a %s has a direction", kind, kind)
	}
	switch {
	case kind == logbook.ReferenceMarks && !bySun:
		return swing.Marks(c.Float64("zero-deg"), c.Bool("relative")), nil
	case kind != logbook.ReferenceLine && kind != logbook.ReferenceSun && kind != logbook.ReferenceMarks:
		return none, wrong("--reference marks, line or sun", "--reference %q is not known", kind)
	case f.craft == nil:
		return none, wrong("init writes a craft file; its [site] says where", "--reference %s needs the site: there is no craft file in %s", kind, f.dir)
	}
	site := swing.SiteOf(f.craft, f.sh.Now())
	if kind == logbook.ReferenceLine {
		if !c.IsSet("line-deg") {
			return none, wrong("e.g. --line-deg 73.5", "--reference line wants the line's true direction: --line-deg is missing")
		}
		return site.Line(c.Float64("line-deg")), nil
	}
	if bySun {
		return site.SunEach(dwells)
	}
	if !c.IsSet("sun-deg") {
		return none, wrong("the shadow of a plumb line points away from the sun", "--reference sun wants the sun's bearing from mark 0: --sun-deg is missing")
	}
	at, err := f.moment(c)
	if err != nil {
		return none, err
	}
	return site.Sun(c.Float64("sun-deg"), at)
}

// fit turns captures into a swing.
func (f *finish) fit(ctx context.Context, s swing.Series) (answer.SwingInput, error) {
	in, err := answer.SwingOf(ctx, words.Terminal, s, f.limitDeg)
	in.File = f.file
	return in, f.tooFew(err)
}

func (f *finish) tooFew(err error) error {
	if errors.Is(err, deviation.ErrTooFew) {
		return f.withEarly(err, "swing the craft through the whole circle, e.g. every 45 degrees")
	}
	return err
}

// stored returns a stored swing, fitted again; 0 is the newest.
func (f *finish) stored(c *cli.Context, n int) (answer.SwingInput, error) {
	found, err := swing.Newest(f.dir, logbook.SwingHeadings, n)
	if err != nil {
		return answer.SwingInput{}, err
	}
	if found == nil && n == 0 {
		return answer.SwingInput{}, withHint(fmt.Errorf("no swing is stored in %s", f.dir), "take one: quietmount swing %s --port PORT, or read one: quietmount swing %s FILE.csv", f.dir, f.dir)
	}
	if found == nil {
		return answer.SwingInput{}, wrong("leave the number out for the newest", "there is no swing %d in %s", n, f.dir)
	}
	return answer.StoredSwing(c.Context, words.Terminal, found, f.limitDeg, c.Bool("exact"))
}
