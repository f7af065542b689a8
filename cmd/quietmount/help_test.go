package main

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/urfave/cli/v2"
)

func TestEveryCommandAndFlagIsExplained(t *testing.T) {
	app := testApp()
	for _, c := range app.Commands {
		if c.Hidden {
			continue
		}
		if c.Usage == "" || c.Category == "" {
			t.Errorf("%s has no usage or no group", c.Name)
		}
		seen := map[string]bool{}
		for _, f := range c.Flags {
			d, ok := f.(cli.DocGenerationFlag)
			if !ok || d.GetUsage() == "" {
				t.Errorf("%s --%s has no usage", c.Name, f.Names()[0])
			}
			for _, n := range f.Names() {
				if seen[n] {
					t.Errorf("%s has --%s twice", c.Name, n)
				}
				seen[n] = true
			}
		}
	}
}

// The groups of the help stand in the order of the job.
func TestHelpInTheOrderOfTheJob(t *testing.T) {
	text := appHelp(testApp())
	last := -1
	for _, group := range []string{groupBegin, groupModule, groupMeasure, groupAnswer, groupFinish, groupFile, groupShell} {
		at := strings.Index(text, "\n"+group+"\n")
		if at <= last || strings.Count(text, "\n"+group+"\n") != 1 {
			t.Errorf("group %q stands at %d, the one before at %d", group, at, last)
		}
		last = at
	}
	for _, name := range []string{"demo", "init", "verify", "field", "ports", "listen", "room", "survey", "import", "map", "rank", "arrow", "swing", "record", "export"} {
		if !strings.Contains(text, "\n    "+name+" ") {
			t.Errorf("%s is not in the help", name)
		}
	}
}

func TestHelpFitsATerminal(t *testing.T) {
	app := testApp()
	texts := []string{appHelp(app)}
	for _, c := range app.Commands {
		if c.Name != "completion" { // its lines are commands to copy
			texts = append(texts, commandHelp(c))
		}
	}
	for _, text := range texts {
		for line := range strings.Lines(text) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
				t.Errorf("%d characters: %s", n, line)
			}
		}
	}
}

func TestEveryAnswerHasJSON(t *testing.T) {
	for _, c := range testApp().Commands {
		if c.Category != groupAnswer && c.Category != groupFinish && !slices.Contains([]string{"field", "calibrate", "ports", "listen", "room", "survey", "import", "verify", "demo"}, c.Name) {
			continue
		}
		if !slices.ContainsFunc(c.Flags, func(f cli.Flag) bool { return f.Names()[0] == "json" }) {
			t.Errorf("%s has no --json", c.Name)
		}
		if c.Category == groupAnswer && c.Name != "balance" &&
			!slices.ContainsFunc(c.Flags, func(f cli.Flag) bool { return f.Names()[0] == "runs" }) {
			t.Errorf("%s has no --runs", c.Name)
		}
	}
}
