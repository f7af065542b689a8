package main

import (
	"errors"
	"os"

	"github.com/urfave/cli/v2"

	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// finish is a check of a finished craft under way.
type finish struct {
	sh         shell
	dir        string
	input      string // CSV file; empty: the captures are taken
	folder     *logbook.Folder
	craft      *survey.Craft // nil: no craft file, and none needed
	table      string        // of the craft file: module or probe
	unit       survey.Module // what is checked
	correction *survey.Correction
	calibrated bool
	limitDeg   float64
	guided     bool
	command    string // arrow or swing
	file       string // where the captures lie
	early      bool   // the walk was stopped before its end
}

// usualLimitDeg passes where there is no craft file.
const usualLimitDeg = 5

// openFinish reads the folder and the flags. A swing of plain headings needs
// no craft file.
func openFinish(c *cli.Context, sh shell, what string) (*finish, error) {
	f := &finish{sh: sh, command: c.Command.Name, dir: ".", table: "module", limitDeg: usualLimitDeg, calibrated: c.Bool("calibrated")}
	if err := errors.Join(f.arguments(c), f.asBegun(c)); err != nil {
		return nil, err
	}
	folder, err := opened(c.Context, sh, f.dir)
	if _, missing := errors.AsType[*craftfile.MissingError](err); missing && what == logbook.SwingHeadings && f.input != "" {
		return f, f.limit(c)
	}
	if err != nil {
		return nil, err
	}
	f.folder, f.craft, f.unit = folder, folder.Craft, folder.Craft.Module
	f.limitDeg = f.craft.Limits.HeadingErrorDeg
	if what == logbook.SwingArrow && c.Bool("probe") {
		if f.craft.Probe == nil {
			return nil, wrong("leave --probe out", "the craft file has no [probe]")
		}
		f.table, f.unit = "probe", *f.craft.Probe
	}
	if id := c.String("calibration"); id != "" {
		if f.correction, err = logbook.LoadCorrection(f.dir, id); err != nil {
			return nil, err
		}
		f.calibrated = true
	}
	return f, f.limit(c)
}

func (f *finish) limit(c *cli.Context) error {
	if c.IsSet("limit-deg") {
		f.limitDeg = c.Float64("limit-deg")
	}
	if !(f.limitDeg > 0 && f.limitDeg <= 180) {
		return wrong("e.g. --limit-deg 5", "--limit-deg %g: more than 0 and at most 180", f.limitDeg)
	}
	if d := c.Float64("dwell-s"); d < 1 || d > 60 {
		return wrong("3 seconds suit most modules", "--dwell-s %g: from 1 to 60", d)
	}
	return nil
}

// arguments reads [DIR] [FILE.csv].
func (f *finish) arguments(c *cli.Context) error {
	see := "see: quietmount " + c.Command.Name + " --help"
	switch c.NArg() {
	case 0:
	case 1:
		if word := c.Args().First(); isFolder(word) {
			f.dir = word
		} else {
			f.input = word
		}
	case 2:
		f.dir, f.input = c.Args().Get(0), c.Args().Get(1)
		if err := exchanged(c, f.dir, f.input); err != nil {
			return err
		}
	default:
		return wrong(see, "%s takes a folder and a file, not %d arguments", c.Command.Name, c.NArg())
	}
	if from := c.String("from"); from != "" {
		if f.input != "" {
			return wrong(see, "captures from both %s and %s: name one", f.input, from)
		}
		f.input = from
	}
	return nil
}

// asBegun refuses with --resume what the file of the walk already says.
func (f *finish) asBegun(c *cli.Context) error {
	if !c.Bool("resume") {
		return nil
	}
	if f.input != "" {
		return wrong("leave one of them out", "--resume goes on at a port, and the captures of %s are there already", f.input)
	}
	for _, name := range []string{
		"headings", "reference", "relative", "zero-deg", "line-deg", "sun-deg", "at", "heading-su-deg", "state", "current-a", "number", "axes",
		"poses", "quick", "north-deg", "true-north", "pose-deg", "calibration", "calibrated",
	} {
		if c.IsSet(name) {
			return wrong("leave --"+name+" out, or begin anew without --resume", "--%s with --resume: a walk goes on as it was begun", name)
		}
	}
	return nil
}

// walks reports whether captures are to be taken.
func walks(c *cli.Context) bool {
	return c.IsSet("port") || c.IsSet("replay") || c.Bool("resume")
}

// isFolder tells a folder from a file.
func isFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}
