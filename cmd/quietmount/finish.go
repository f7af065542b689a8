package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"

	"github.com/urfave/cli/v2"

	"quietmount/report/console"
	phrase "quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// finish is a check of a finished craft in progress.
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

// usualLimitDeg is the limit without a craft file.
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

// arguments reads [DIR] [FILE.csv] and --from.
func (f *finish) arguments(c *cli.Context) error {
	var err error
	if f.dir, f.input, err = folderAndFile(c); err != nil {
		return err
	}
	if from := c.String("from"); from != "" {
		if f.input != "" {
			return wrong("leave one of them out", "captures from both %s and %s: name one", f.input, from)
		}
		f.input = from
	}
	return nil
}

// asBegun refuses, with --resume, flags whose values are those of the walk's file.
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

// walks reports whether the command takes captures.
func walks(c *cli.Context) bool {
	return c.IsSet("port") || c.IsSet("replay") || c.Bool("resume")
}

// isFolder reports whether name is a folder.
func isFolder(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}

// walk takes the captures, guided, stores them, and reads them back. header holds
// the settings of the check; with --resume, header and route are those of the file
// and the given ones are ignored.
func (f *finish) walk(c *cli.Context, header logbook.SwingHeader, route *guide.Route) (*logbook.SwingFile, error) {
	f.guided = true
	source, err := openSource(c, f.sh, f.craft)
	if err != nil {
		return nil, err
	}
	defer source.Close()
	commands, stop := make(chan guide.Command), make(chan struct{})
	defer close(stop)
	go walk.ReadCommands(f.sh.In, commands, stop)
	if err := await(c.Context, f.sh, source); err != nil {
		return nil, err
	}
	begun, err := swing.Begin(swing.Setup{
		Folder: f.folder, Unit: f.unit, Header: header, Correction: f.correction, Route: route, DwellS: c.Float64("dwell-s"), Resume: c.Bool("resume"),
		HandsFree: c.Bool("hands-free"), Unattended: c.Bool("json"), Port: source.name, Decoder: source.shape(), Tool: version(), Now: f.sh.Now(),
	})
	if err != nil {
		return nil, err
	}
	f.file = begun.Writer.File()
	script := c.Bool("json")
	sum, err := walk.Run(c.Context, walk.Config{
		Source: source, Commands: commands, Walk: begun.Walk, Writer: begun.Writer, Face: f.face(begun.About, c.Bool("hands-free"), script), Now: f.sh.Now, Words: words.Terminal.Say, InOrder: script,
	})
	if err := errors.Join(err, begun.Writer.Close()); err != nil {
		return nil, err
	}
	if c.Context.Err() != nil {
		return nil, fmt.Errorf("%s: %s saved; resume it with --resume: %w", f.file, phrase.Counted(sum.Captures, "capture"), c.Context.Err())
	}
	f.early = !sum.Finished
	return logbook.LoadSwing(f.file)
}

// withEarly adds to the error of a walk that was stopped early how to continue
// it.
func (f *finish) withEarly(err error, otherwise string) error {
	if err != nil && f.early {
		return withHint(err, "the walk was stopped early: go on with it, quietmount %s %s --resume", f.command, f.dir)
	}
	return withHint(err, "%s", otherwise)
}

func (f *finish) face(about walk.About, handsFree, script bool) func(guide.Event) error {
	if script {
		return console.PoseJSONFace(f.sh.Out, about)
	}
	return console.PoseTerminalFace(f.sh.Out, about, console.TerminalOptions{Live: f.sh.Terminal.Out, Bell: f.sh.Terminal.Out, HandsFree: handsFree})
}

// print shows the answer: after a walk's events as one more line.
func (f *finish) print(c *cli.Context, a readable, ok bool) error {
	if !c.Bool("json") || !f.guided {
		return show(c, f.sh, a, ok)
	}
	return noUnless(ok, json.NewEncoder(f.sh.Out).Encode(a))
}
