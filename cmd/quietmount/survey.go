package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/console"
	phrase "quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/walk"
)

func runSurvey(c *cli.Context, sh shell) error {
	setup, err := surveySetup(c, sh)
	if err != nil {
		return err
	}
	if c.Bool("plan") {
		return printPlan(c, sh, setup)
	}
	if setup.Resume {
		setup.Rhythm = askedRhythm(c)
	}
	return conduct(c, sh, setup, c.Bool("json"))
}

// surveySetup reads the flags of a run.
func surveySetup(c *cli.Context, sh shell) (walk.Setup, error) {
	var none walk.Setup
	dir, err := folder(c)
	if err != nil {
		return none, err
	}
	f, err := opened(c.Context, sh, dir)
	if err != nil {
		return none, err
	}
	o, err := importOptions(c, sh, dir, f.Craft)
	if err != nil {
		return none, err
	}
	s := plainSetup(f, o.State, sh)
	s.CurrentA, s.Pulsed, s.Substitute = o.CurrentA, o.Pulsed, o.Substitute
	s.NoseDeg, s.Session, s.Together = o.NoseDeg, o.Session, o.Together
	s.Axes, s.Calibration, s.Correction = o.Axes, o.Calibration, o.Correction
	s.Stations, s.Most, s.Full, s.HandsFree = c.StringSlice("station"), c.Int("most"), c.Bool("full"), c.Bool("hands-free")
	s.Resume, s.Unattended = c.Bool("resume"), c.Bool("json")
	s.Rules.DwellS = c.Float64("dwell-s")
	s.Rhythm.Pulses, s.Rhythm.OnS, s.Rhythm.OffS = c.Int("pulses"), c.Float64("on-s"), c.Float64("on-s")
	if s.Rules.DwellS < 1 || s.Rules.DwellS > 60 {
		return none, wrong("3 seconds suit most modules", "--dwell-s %g: from 1 to 60", s.Rules.DwellS)
	}
	if err := checkRhythm(s); err != nil {
		return none, err
	}
	s.Rules.MaxDwellS = max(s.Rules.MaxDwellS, 2*s.Rules.DwellS)
	if c.Bool("asked") {
		if s.Extra, err = askedStations(c.Context, dir, f, sh); err != nil {
			return none, err
		}
	}
	if _, err := s.Plan(); err != nil {
		return none, wrong("see: quietmount survey --help", "%v", err)
	}
	return s, nil
}

// askedRhythm returns the part of the rhythm that the flags set, the rest 0: a
// resumed run has its own.
func askedRhythm(c *cli.Context) (r logbook.Rhythm) {
	if c.IsSet("pulses") {
		r.Pulses = c.Int("pulses")
	}
	if c.IsSet("on-s") {
		r.OnS, r.OffS = c.Float64("on-s"), c.Float64("on-s")
	}
	return r
}

// checkRhythm refuses a rhythm in which no two levels can be told apart.
func checkRhythm(s walk.Setup) error {
	r := s.Rhythm
	switch {
	case !s.Pulsed:
		return nil
	case r.Pulses < s.Rules.MinPulses || r.Pulses > 100:
		return wrong("6 suit most loads", "--pulses %d: from %d to 100", r.Pulses, s.Rules.MinPulses)
	case !(r.OnS > 2*r.DropS && r.OnS <= 120):
		return wrong("3 seconds suit most loads", "--on-s %g: more than %g, up to 120", r.OnS, 2*r.DropS)
	}
	return nil
}

// plainSetup returns the set-up of a run with the default rules.
func plainSetup(f *logbook.Folder, state string, sh shell) walk.Setup {
	return walk.Setup{
		Folder: f, State: state, Rules: guide.DefaultRules(), Rhythm: logbook.DefaultRhythm(),
		Tool: version(), Words: words.Terminal.Say, Now: sh.Now(),
	}
}

func printPlan(c *cli.Context, sh shell, s walk.Setup) error {
	route, err := s.Plan()
	if err != nil {
		return err
	}
	a := answer.NewPlan(s.Folder.Craft, s.State, route)
	if l, ok := s.Folder.Craft.LoadByName(s.State); ok && s.Pulsed {
		h := s.Folder.Craft.Site.Field(s.Now).H / 1000
		a.ForLoad(words.Terminal, evaluate.PlanLoad(l, s.CurrentA, s.Rhythm, h, s.Folder.Craft.Limits.HeadingErrorDeg, evaluate.NoiseOf(c.Context, s.Folder.Runs)))
	}
	return show(c, sh, a, true)
}

// conduct opens the link and walks one run with the operator at the shell's input.
func conduct(c *cli.Context, sh shell, s walk.Setup, script bool) error {
	ctx := c.Context
	source, err := openSource(c, sh, s.Folder.Craft)
	if err != nil {
		return err
	}
	defer source.Close()
	commands := make(chan guide.Command)
	stop := make(chan struct{})
	defer close(stop)
	go walk.ReadCommands(sh.In, commands, stop)

	if err := await(ctx, sh, source); err != nil {
		return err
	}
	s.Port, s.Decoder = source.name, source.shape()
	if !script {
		face := console.TerminalFace(sh.Out, walk.About{}, console.TerminalOptions{})
		if err := walk.Confirm(ctx, s.Checklist(), commands, face); err != nil {
			return withHint(err, "what is on the list keeps hands and readings safe; put it right and begin again")
		}
		s.Confirmed = true
	}
	begun, err := walk.Begin(s)
	if err != nil {
		return err
	}
	for _, w := range slices.Concat(begun.Route.Warnings, begun.Remarks) {
		say(sh.Err, "quietmount: warning: %s", words.Terminal.Say(w))
	}
	sum, err := walk.Run(ctx, walk.Config{
		Source: source, Commands: commands, Walk: begun.Walk, Writer: begun.Writer,
		Face: surveyFace(sh, begun.About, s.HandsFree, script), Now: sh.Now, Words: words.Terminal.Say, InOrder: script,
	})
	if cerr := begun.Writer.Close(); err == nil {
		err = cerr
	}
	if err == nil && ctx.Err() != nil {
		return fmt.Errorf("%s: %s saved; resume it with --resume: %w", begun.About.File, phrase.Counted(sum.Captures, "capture"), ctx.Err())
	}
	return err
}

func surveyFace(sh shell, about walk.About, handsFree, script bool) func(guide.Event) error {
	if script {
		return console.JSONFace(sh.Out, about)
	}
	return console.TerminalFace(sh.Out, about, console.TerminalOptions{
		Live: sh.Terminal.Out, Bell: sh.Terminal.Out, HandsFree: handsFree,
	})
}

// askedStations returns the places at which measuring next helps the ranking most,
// under unused names.
func askedStations(ctx context.Context, dir string, f *logbook.Folder, sh shell) ([]survey.Station, error) {
	found, err := evaluateFolder(ctx, dir, "", sh)
	if err != nil {
		return nil, err
	}
	ranking, err := ranked(ctx, sh, found, rank.Options{})
	if err != nil {
		return nil, withHint(err, "walk the craft's own stations first: quietmount survey without --asked")
	}
	asked := rank.Asked(f, ranking)
	if len(asked) == 0 {
		return nil, withHint(errors.New("the ranking asks for no station"), "see: quietmount rank")
	}
	return asked, nil
}
