package main

import (
	"context"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/csvfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
	"quietmount/survey/logbook"
	"quietmount/survey/walk"
)

func runImport(c *cli.Context, sh shell) error {
	dir, file, err := folderAndFile(c)
	if err != nil {
		return err
	}
	if file == "" {
		return wrong("see: quietmount import --help", "import wants a FILE.csv besides the folder %s", dir)
	}
	craft, err := craftfile.Load(dir)
	if err != nil {
		return err
	}
	o, err := importOptions(c, sh, dir, craft)
	if err != nil {
		return err
	}
	r, err := openInput(file, sh)
	if err != nil {
		return err
	}
	defer r.Close()
	in, err := computed(c.Context, sh, "reading the captures", func(ctx context.Context, _ func(string)) (*csvfile.Imported, error) {
		return csvfile.Import(ctx, r, file, o, craft)
	})
	if err != nil {
		return withHint(err, "nothing was imported; see: quietmount import --help")
	}
	run, err := in.Save(dir, words.Terminal.Placed)
	if err != nil {
		return err
	}
	a := answer.NewImport(run, in.Warnings)
	if why, none := run.NoneUsable(c.Context, craft.MeasuringModule().RangeUT); none {
		a.Unusable = new(answer.CodedOf(words.Terminal, why))
	} else if a.Checked, err = importChecks(c.Context, sh, craft, run); err != nil {
		return err
	}
	for _, w := range a.Warnings {
		if a.Unusable != nil {
			break // the reason says it all; a rhythm assumed in vain would contradict it
		}
		say(sh.Err, "quietmount: warning: %s", w)
	}
	return show(c, sh, a, a.Unusable == nil && a.Untrusted() == "")
}

// importChecks returns the checks of an imported run by itself; none where it cannot
// be evaluated, which the answers say later.
func importChecks(ctx context.Context, sh shell, craft *survey.Craft, run *logbook.Run) (answer.Checked, error) {
	checks, err := computed(ctx, sh, "checking the captures", func(ctx context.Context, _ func(string)) ([]gate.Check, error) {
		found, err := evaluate.Evaluate(ctx, craft, []*logbook.Run{run}, evaluate.Options{})
		if ctx.Err() != nil || err != nil {
			return nil, ctx.Err()
		}
		return gate.OfRun(ctx, found), nil
	})
	return answer.ChecksOf(words.Terminal, checks), err
}

func importOptions(c *cli.Context, sh shell, dir string, craft *survey.Craft) (csvfile.Options, error) {
	o := csvfile.Options{
		State: c.String("state"), Pulsed: c.Bool("pulsed"), Substitute: c.Bool("substitute"),
		CurrentA: optionalFloat(c, "current-a"), NoseDeg: noseDeg(c),
		Session: c.String("session"), Calibration: c.String("calibration"),
		Probe: craft.MeasuringModule().Name, Started: sh.Now(), Tool: version(),
	}
	if err := checkState(craft, o.State); err != nil {
		return o, err
	}
	if err := checkLoadFlags(o); err != nil {
		return o, err
	}
	if c.Bool("module") {
		o.Probe = craft.Module.Name
	}
	var err error
	if o.Together, err = togetherFlag(c, craft, o); err != nil {
		return o, err
	}
	if text := c.String("axes"); text != "" {
		axes, err := survey.ParseAxes(text)
		if err != nil {
			return o, wrong("e.g. --axes +x,+y,+z", "--axes: %v", err)
		}
		o.Axes = &axes
	}
	if o.Calibration != "" {
		correction, err := logbook.LoadCorrection(dir, o.Calibration)
		if err != nil {
			return o, err
		}
		o.Correction = correction
	}
	return o, nil
}

// togetherFlag reads --with: loads that go on and off with that of the state.
func togetherFlag(c *cli.Context, craft *survey.Craft, o csvfile.Options) (map[string]float64, error) {
	all := c.StringSlice("with")
	if len(all) == 0 {
		return nil, nil
	}
	out := map[string]float64{}
	for _, text := range all {
		name, amps, stated := strings.Cut(text, "=")
		out[name] = 0
		if !stated {
			continue
		}
		a, err := strconv.ParseFloat(amps, 64)
		if err != nil || math.IsNaN(a) || math.IsInf(a, 0) {
			return nil, wrong(`e.g. --with "right thruster=9"`, "--with %s: %q is no current", text, amps)
		}
		out[name] = a
	}
	if !o.Pulsed && c.Command.Name == "import" {
		return nil, wrong("add --pulsed", "--with: loads that are on together are pulsed together")
	}
	if err := walk.CheckTogether(craft, o.State, out); err != nil {
		return nil, wrong(`e.g. --with "right thruster=9"`, "--with: %v", err)
	}
	return out, nil
}

// checkLoadFlags refuses flags that contradict the state.
func checkLoadFlags(o csvfile.Options) error {
	isLoad := o.State != survey.StateBackground && o.State != survey.StateUnpowered
	switch {
	case o.Pulsed && !isLoad:
		return wrong("name the load as the state", "--pulsed: %s is no load that goes on and off", o.State)
	case o.Substitute && !isLoad:
		return wrong("name the load as the state", "--substitute: %s is no load", o.State)
	case o.CurrentA != nil && *o.CurrentA < 0 && !o.Substitute:
		return wrong("give what flows while the load is on; less than zero is for a --substitute whose polarity was reversed", "--current-a %g: a current is zero or more", *o.CurrentA)
	}
	return nil
}

func checkState(craft *survey.Craft, state string) error {
	if state == "" {
		return wrong("--state background, --state unpowered, or --state with the name of a load", "which state? --state is missing")
	}
	if err := craft.State(state); err != nil {
		return wrong("", "--state: %v", err)
	}
	return nil
}

func optionalFloat(c *cli.Context, name string) *float64 {
	if !c.IsSet(name) {
		return nil
	}
	return new(c.Float64(name))
}

// noseDeg returns the direction of the nose between 0 and 360 degrees; -30 is 330.
func noseDeg(c *cli.Context) *float64 {
	v := optionalFloat(c, "nose-deg")
	if v != nil && *v < 0 && *v >= -360 {
		*v += 360
	}
	return v
}

// folderAndFile reads [DIR] [FILE]. A single word is the file if it is standard
// input, ends in .csv, or names a file; otherwise it is the folder.
func folderAndFile(c *cli.Context) (dir, file string, err error) {
	switch word := c.Args().First(); c.NArg() {
	case 0:
		return ".", "", nil
	case 1:
		info, err := os.Stat(word)
		if word == "-" || err == nil && !info.IsDir() || err != nil && strings.HasSuffix(strings.ToLower(word), ".csv") {
			return ".", word, nil
		}
		return word, "", nil
	case 2:
		file = c.Args().Get(1)
		if isFolder(file) && !isFolder(word) {
			return "", "", wrong("the folder comes first: quietmount "+c.Command.Name+" "+words.Quote(file)+" "+words.Quote(word), "%s is no folder, and %s is one", word, file)
		}
		return word, file, nil
	}
	return "", "", wrong("see: quietmount "+c.Command.Name+" --help", "%s takes %s, not %d arguments", c.Command.Name, c.Command.ArgsUsage, c.NArg())
}

// openInput opens a file to read; - is standard input.
func openInput(file string, sh shell) (io.ReadCloser, error) {
	if file == "-" {
		return io.NopCloser(sh.In), nil
	}
	return os.Open(file)
}
