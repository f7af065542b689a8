package main

import (
	"os"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report"
	"quietmount/survey"
	"quietmount/survey/swing"
)

func arrowCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "arrow",
		Category:  groupFinish,
		Usage:     "which way the module's arrow and label face: before the glue, or with the module in the hand",
		ArgsUsage: "[DIR] [FILE.csv]",
		Description: "Captures the field with the nose in known directions, and tipped, guided as survey is; or reads\n" +
			"pose,t_s,bx,by,bz from FILE.csv (- is standard input). Poses: north, east, south, west, and from\n" +
			"nose north tipped: up, down, left, right, inverted. One wrong pose is named and left out.\n" +
			"Exit status 3: the arrow is not right.",
		Flags: append(append(linkFlags(), finishFlags()...),
			&cli.StringFlag{Name: "from", Usage: "read the captures from `FILE`.csv, as the argument FILE.csv does"},
			&cli.StringFlag{Name: "poses", Usage: "poses to walk through, e.g. `north,east,south,west,down`"},
			&cli.BoolFlag{Name: "quick", Usage: "nose north, nose east, nose down: two minutes, with a calibrated probe"},
			&cli.Float64Flag{Name: "north-deg", Usage: "magnetic direction of what the poses call north"},
			&cli.BoolFlag{Name: "true-north", Usage: "the poses go by true north: the declination is taken into account"},
			&cli.Float64Flag{Name: "pose-deg", Usage: "standard uncertainty of a pose in degrees", Value: 1.5},
			&cli.BoolFlag{Name: "probe", Usage: "check the [probe] instead of the [module]"},
			&cli.BoolFlag{Name: "store", Usage: "the arrow points to the nose: store the axes found in the craft file, comments kept"},
			&cli.BoolFlag{Name: "exactly", Usage: "with --store: the axes as measured, not the nearest right angles"},
		),
		Action: func(c *cli.Context) error { return arrow(c, sh) },
	}
}

func arrow(c *cli.Context, sh shell) error {
	f, err := openFinish(c, sh, survey.SwingArrow)
	if err != nil {
		return err
	}
	dwells, err := f.arrowDwells(c)
	if err != nil {
		return err
	}
	site := swing.SiteOf(f.craft, sh.Now())
	field := f.towardsNorth(c, site)
	poses, err := swing.Poses(dwells, f.correction, field)
	if err != nil {
		return err
	}
	o := heading.ArrowOptions{Calibrated: f.calibrated, PoseDeg: c.Float64("pose-deg"), ReferenceDeg: f.zeroSU, Field: field}
	if !c.Bool("store") {
		o.Axes = f.unit.Axes
	}
	found, err := heading.CheckArrow(poses, o)
	if err != nil {
		return withHint(err, "hold the craft so, take the pose, and run the check again")
	}
	in := report.ArrowInput{Arrow: found, Poses: poses, LimitDeg: f.limitDeg, Calibrated: f.calibrated, NoAxes: f.unit.Axes == nil, Stores: c.Bool("store"), File: f.file}
	answer := report.NewArrowAnswer(in)
	if c.Bool("store") && answer.OK {
		if err := f.storeAxes(c, found.Rotation); err != nil {
			return err
		}
		answer.Stored = true
	}
	if f.guided {
		answer.Event = "answer"
	}
	return f.print(c, answer, answer.OK)
}

// towardsNorth is the field of the site with x along what the poses call
// north.
func (f *finish) towardsNorth(c *cli.Context, site swing.Site) r3.Vec {
	f.zeroSU = swing.Marks(0, false).SUDeg
	azimuth := c.Float64("north-deg")
	if c.Bool("true-north") {
		azimuth -= site.DeclinationDeg
		f.zeroSU = max(f.zeroSU, site.DeclinationSUDeg)
	}
	return site.Turned(azimuth)
}

// arrowDwells come from a file, or are taken.
func (f *finish) arrowDwells(c *cli.Context) ([]swing.Dwell, error) {
	if f.input != "" {
		r, err := openInput(f.input, f.sh)
		if err != nil {
			return nil, err
		}
		defer r.Close()
		dwells, err := swing.ReadArrow(r, f.input)
		return dwells, withHint(err, "see: quietmount arrow --help")
	}
	poses := swing.UsualPoses(c.Bool("quick"), f.calibrated)
	if text := c.String("poses"); text != "" {
		var err error
		if poses, err = swing.ParsePoses(text); err != nil {
			return nil, wrong("e.g. --poses north,east,south,west,down", "--poses: %v", err)
		}
	}
	return f.walk(c, survey.SwingHeader{What: survey.SwingArrow, HeadingSU: c.Float64("pose-deg")}, swing.ArrowRoute(poses))
}

// storeAxes writes the axes into the craft file: the nearest right angles,
// unless asked for as measured.
func (f *finish) storeAxes(c *cli.Context, m magmath.Mat3) error {
	if !c.Bool("exactly") {
		m = heading.NearestMounting(m)
	}
	name := filepath.Join(f.dir, survey.CraftFile)
	src, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	out, err := survey.StoreAxes(src, f.table, m)
	if err != nil {
		return withHint(err, "the craft file is as it was")
	}
	return writeFile(name, out)
}

// isFolder tells a folder from a file.
func isFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir() && !strings.HasSuffix(name, ".csv")
}
