package main

import (
	"errors"
	"fmt"

	"github.com/urfave/cli/v2"

	deviation "quietmount/magmath/swing"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

// reference is what the marks are held against.
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
func (f *finish) fit(s swing.Series) (answer.SwingInput, error) {
	in, err := answer.SwingOf(words.Terminal, s, f.limitDeg)
	in.File = f.file
	return in, f.tooFew(err)
}

func (f *finish) tooFew(err error) error {
	if errors.Is(err, deviation.ErrTooFew) {
		return f.withEarly(err, "swing the craft through the whole circle, e.g. every 45 degrees")
	}
	return err
}

// stored is a stored swing, fitted anew; 0 is the newest.
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
	return answer.StoredSwing(words.Terminal, found, f.limitDeg, c.Bool("exact"))
}
