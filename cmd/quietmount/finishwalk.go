package main

import (
	"encoding/json"
	"errors"
	"fmt"

	"github.com/urfave/cli/v2"

	"quietmount/report/console"
	phrase "quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// walk takes the captures, guided, stores them, and reads back what is there.
// header holds what the check itself knows; with --resume header and route are
// those of the file, and what is given is passed over.
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
		return nil, fmt.Errorf("%s: %s saved; take it up again with --resume: %w", f.file, phrase.Counted(sum.Captures, "capture"), c.Context.Err())
	}
	f.early = !sum.Finished
	return logbook.LoadSwing(f.file)
}

// withEarly says, where a walk that was stopped early cannot answer, how to go
// on with it.
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
