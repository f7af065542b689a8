package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

func runArrow(c *cli.Context, sh shell) error {
	if p := c.Float64("pose-deg"); !(p > 0 && p <= 30) {
		return wrong("1.5 suits a careful hand", "--pose-deg %g: more than 0 and at most 30", p)
	}
	f, err := openFinish(c, sh, logbook.SwingArrow)
	if err != nil {
		return err
	}
	check, err := f.arrowCheck(c)
	if err != nil {
		return err
	}
	a, err := answer.ArrowOf(c.Context, words.Terminal, check, f.craft, f.unit, f.limitDeg, sh.Now(), c.Bool("store"), f.file)
	if err != nil {
		return f.withEarly(err, "take the pose that is missing and run the check again")
	}
	if c.Bool("store") && a.OK {
		if err := f.storeAxes(c, magmath.Mat3(*a.Rotation)); err != nil {
			return err
		}
		a.Stored = true
	}
	if f.guided {
		a.Event = "answer"
	}
	return f.print(c, a, a.OK)
}

// arrowCheck reads the check from a file, captures it, or returns the newest
// stored one.
func (f *finish) arrowCheck(c *cli.Context) (swing.Check, error) {
	check := swing.Check{Correction: f.correction, Calibrated: f.calibrated, PoseSUDeg: c.Float64("pose-deg")}
	check.ZeroDeg, check.ZeroSUDeg = f.north(c)
	switch {
	case f.input != "":
		r, err := openInput(f.input, f.sh)
		if err != nil {
			return check, err
		}
		defer r.Close()
		check.Dwells, err = swing.ReadArrow(r, f.input)
		return check, withHint(err, "see: quietmount arrow --help")
	case walks(c):
		taken, err := f.takeArrow(c, check)
		if err != nil {
			return check, err
		}
		return swing.CheckOf(taken)
	}
	newest, err := swing.Newest(f.dir, logbook.SwingArrow, 0)
	if err != nil {
		return check, err
	}
	if newest == nil {
		return check, withHint(fmt.Errorf("no arrow check is stored in %s", f.dir), "take one: quietmount arrow %s --port PORT", f.dir)
	}
	f.file = newest.File
	return swing.CheckOf(newest)
}

// north returns the magnetic direction of the poses' north, and its standard
// uncertainty.
func (f *finish) north(c *cli.Context) (deg, su float64) {
	deg, su = c.Float64("north-deg"), swing.Marks(0, false).SUDeg
	if c.Bool("true-north") {
		site := swing.SiteOf(f.craft, f.sh.Now())
		deg, su = deg-site.DeclinationDeg, max(su, site.DeclinationSUDeg)
	}
	return deg, su
}

// takeArrow walks through the poses.
func (f *finish) takeArrow(c *cli.Context, check swing.Check) (*logbook.SwingFile, error) {
	poses := swing.UsualPoses(c.Bool("quick"), f.calibrated)
	if text := c.String("poses"); text != "" {
		var err error
		if poses, err = swing.ParsePoses(text); err != nil {
			return nil, wrong("e.g. --poses north,east,south,west,down", "--poses: %v", err)
		}
	}
	header := logbook.SwingHeader{
		What: logbook.SwingArrow, Reference: logbook.ReferenceMarks, ZeroDeg: check.ZeroDeg, ZeroSUDeg: check.ZeroSUDeg,
		HeadingSU: check.PoseSUDeg, Calibrated: check.Calibrated,
	}
	header.Calibration = c.String("calibration")
	return f.walk(c, header, swing.ArrowRoute(poses))
}

// storeAxes writes the axes into the craft file: the nearest right angles,
// unless asked for as measured.
func (f *finish) storeAxes(c *cli.Context, m magmath.Mat3) error {
	if !c.Bool("exactly") {
		m = arrow.NearestMounting(m)
	}
	return withHint(craftfile.StoreAxesIn(f.dir, f.table, m), "the craft file is as it was")
}
