package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/progress"
)

// run is the whole program without the process around it.
func run(ctx context.Context, argv []string, sh shell) int {
	app := newApp(sh)
	ordered, err := arrange(app, argv)
	if err != nil {
		return status(ctx, err, sh.Err)
	}
	return status(ctx, app.RunContext(ctx, append([]string{app.Name}, ordered...)), sh.Err)
}

func newApp(sh shell) *cli.App {
	app := &cli.App{
		Name:            "quietmount",
		Usage:           "find where to mount a GPS/compass on a small craft, and keep the evidence",
		Version:         version(),
		HideHelpCommand: true,
		HideVersion:     false,
		Writer:          sh.Out,
		ErrWriter:       sh.Err,
		Flags:           []cli.Flag{jsonFlag()},
		Action:          func(c *cli.Context) error { return showStanding(c, sh) },
		Commands:        commands(sh),
		OnUsageError:    usageError,
		ExitErrHandler:  func(*cli.Context, error) {}, // only main leaves the process
	}
	for _, c := range app.Commands {
		c.HideHelpCommand = true
		c.OnUsageError = usageError
	}
	setHelp(app)
	return app
}

func usageError(c *cli.Context, err error, _ bool) error {
	call := "quietmount"
	if c.Command != nil && c.Command.Name != "" && c.Command.Name != call {
		call += " " + c.Command.Name
	}
	return wrong("see: "+call+" --help", "%s: %v", call, err)
}

// unknownCommand returns the error for a first word that is not a command.
func unknownCommand(c *cli.Context) error {
	word := c.Args().First()
	var names []string
	for _, cmd := range c.App.Commands {
		if !cmd.Hidden {
			names = append(names, cmd.Name)
		}
	}
	hint := "see: quietmount --help"
	if near := survey.Nearest(word, names); near != "" {
		hint = "did you mean " + near + "?"
	}
	return wrong(hint, "no command %q", word)
}

// folder returns the DIR argument of a command that takes only that.
func folder(c *cli.Context) (string, error) {
	switch c.NArg() {
	case 0:
		return ".", nil
	case 1:
		return c.Args().First(), nil
	}
	return "", wrong("see: quietmount "+c.Command.Name+" --help",
		"%s takes one folder, not %s", c.Command.Name, strings.Join(c.Args().Slice(), " "))
}

// version returns the module's version and revision as stamped by the toolchain.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	if v == "" {
		v = "(devel)"
	}
	var rev, dirty string
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			rev = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			dirty = "+changes"
		}
	}
	if rev == "" {
		return v
	}
	return fmt.Sprintf("%s (%.12s%s)", v, rev, dirty)
}

// say writes a line for people, never part of an answer.
func say(w io.Writer, format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }

// readable is an answer that a person can read.
type readable interface{ Text(w io.Writer) error }

// show prints an answer as text, or with --json as JSON. It returns errNo if ok is
// false.
func show(c *cli.Context, sh shell, a readable, ok bool) error {
	if c.Bool("json") {
		return noUnless(ok, answer.WriteJSON(sh.Out, a))
	}
	return noUnless(ok, a.Text(sh.Out))
}

// noUnless returns err, or errNo if an answer was printed and is no.
func noUnless(ok bool, err error) error {
	if err == nil && !ok {
		return errNo
	}
	return err
}

// showStanding is quietmount without a command: it shows where the job in this
// folder stands.
func showStanding(c *cli.Context, sh shell) error {
	dir := "."
	if c.NArg() > 0 {
		dir = c.Args().First()
		if info, err := os.Stat(dir); c.NArg() > 1 || err != nil || !info.IsDir() {
			return unknownCommand(c)
		}
	}
	s, err := jobOf(c.Context, dir)
	if words.Hint(words.Terminal, err) != "" {
		return err
	}
	if err != nil {
		return withHint(err, "quietmount verify %s lists everything that is wrong", words.Quote(dir))
	}
	a := answer.NewStanding(s, dir)
	return show(c, sh, a, true)
}

func jobOf(ctx context.Context, dir string) (*progress.Job, error) {
	_, err := os.Stat(filepath.Join(dir, filing.Folder, "sheet.html"))
	f, err := progress.Read(ctx, dir, err == nil)
	if err != nil {
		return nil, err
	}
	return progress.Of(f), nil
}
