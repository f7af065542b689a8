package main

import (
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/report/answer"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

func swingCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "swing",
		Category:  groupFinish,
		Usage:     "the deviation of the finished craft's compass, and its card",
		ArgsUsage: "[DIR] [FILE.csv]",
		Description: "Captures the module on 8 headings and the first again, guided as survey is\n" +
			"(--port or --replay); or reads heading_deg,t_s,bx,by,bz[,ax_g,ay_g,az_g] or\n" +
			"heading_deg,compass_deg from FILE.csv (- is standard input). With neither a\n" +
			"port nor a file it shows the newest stored swing. Headings are marks,\n" +
			"clockwise; --reference says what mark 0 points to. Exit status 3: not within\n" +
			"the limit.",
		Flags: append(append(linkFlags(), finishFlags()...),
			&cli.StringFlag{Name: "from", Usage: "read the swing from `FILE`.csv, as the argument FILE.csv does"},
			&cli.StringFlag{Name: "headings", Usage: "how many, or the marks themselves: `8`, 12, 16 or 0,30,75,...", Value: "8"},
			&cli.StringFlag{Name: "reference", Usage: "`KIND`: marks (of a turntable, mark 0 to magnetic north), line or sun", Value: logbook.ReferenceMarks},
			&cli.BoolFlag{Name: "relative", Usage: "nobody knows where mark 0 points: A stays unknown"},
			&cli.Float64Flag{Name: "zero-deg", Usage: "with marks: magnetic direction of mark 0"},
			&cli.Float64Flag{Name: "line-deg", Usage: "with line: true direction of the line along which mark 0 points"},
			&cli.Float64Flag{Name: "sun-deg", Usage: "with sun: bearing of the sun, clockwise from mark 0, at --at"},
			&cli.StringFlag{Name: "at", Usage: "moment of the sun's bearing, or of t_s = 0 with a column sun_deg: `2026-06-01T15:04:05+01:00`; default: now"},
			&cli.Float64Flag{Name: "heading-su-deg", Usage: "standard uncertainty of one heading in degrees", Value: 1},
			&cli.StringFlag{Name: "state", Usage: "swing under load: `NAME` of a load that is on"},
			&cli.Float64Flag{Name: "current-a", Usage: "the load's current in amperes"},
			&cli.IntFlag{Name: "number", Usage: "show the stored swing `N`"},
			&cli.IntFlag{Name: "before", Usage: "compare with the stored swing `N`, taken before a change"},
			&cli.BoolFlag{Name: "exact", Usage: "fitted values and card from the exact form"},
			&cli.StringFlag{Name: "axes", Usage: "craft directions of the sensor's x, y and z, e.g. `+x,+y,+z`; default: those of the craft file"},
			&cli.IntFlag{Name: "spot", Usage: "with --on-craft and --loose: is the steady part at spot `N` what the map promised; default: the chosen spot"},
			&cli.StringFlag{Name: "on-craft", Usage: "stored calibration `ID` of the finished craft"},
			&cli.StringFlag{Name: "loose", Usage: "stored calibration `ID` of the module before it was mounted"},
			&cli.StringFlag{Name: "card", Usage: "draw the deviation card to `FILE`.png, .svg or .pdf"},
		),
		Action: func(c *cli.Context) error { return swingRun(c, sh) },
	}
}

func swingRun(c *cli.Context, sh shell) error {
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

// swing takes, reads or looks up a swing, and fits it.
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
	in, err := f.fit(swing.Series{Dwells: dwells, Correction: f.correction, Axes: axes, Reference: ref, HeadingSUDeg: c.Float64("heading-su-deg"), Exact: c.Bool("exact")})
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
		HeadingSU: c.Float64("heading-su-deg"), Calibrated: f.calibrated, ReferenceIn: words.Terminal.Say(ref.From),
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
	in, err := answer.StoredSwing(words.Terminal, taken, f.limitDeg, c.Bool("exact"))
	if f.early {
		in.Remarks = append(in.Remarks, remark.New("swing.stopped-early"))
	}
	return in, f.tooFew(err)
}

// headingsOf reads a number of headings, or the marks themselves.
func headingsOf(text string) ([]float64, error) {
	list, err := swing.CountedHeadings(text)
	if err != nil {
		return nil, wrong("8 are usual, 16 tell more; e.g. --headings 12, or --headings 0,40,90,140,180,230,270,320", "--headings: %v", err)
	}
	return list, nil
}

// moment is --at.
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
