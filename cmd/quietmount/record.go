package main

import (
	"context"
	"errors"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/report/record"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/disk"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
	"quietmount/survey/rank"
)

func runRecord(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	paper, err := paperOf(c)
	if err != nil {
		return err
	}
	if name := c.String("bundle"); name != "" && filepath.Ext(name) != ".zip" {
		return wrong("e.g. --bundle sandpiper.zip", "--bundle %s: a bundle's name ends in .zip", name)
	}
	all, err := opened(c.Context, sh, dir)
	if err != nil {
		return err
	}
	found, err := evaluateOpened(c.Context, all, c.String("runs"), sh)
	if err != nil {
		return err
	}
	ranking, err := ranked(c.Context, sh, found, rank.Options{})
	if err != nil && !errors.Is(err, rank.ErrNoMap) {
		return err
	}
	files, err := computed(c.Context, sh, "drawing the record", func(ctx context.Context, far func(string)) ([]record.File, error) {
		return filing.Files(ctx, all, found, ranking, record.Options{Command: recordLine(c), Paper: paper, Tool: version()})
	})
	if err != nil {
		return err
	}
	if err := filing.Write(dir, files); err != nil {
		return err
	}
	stale, err := filing.Stale(dir, files)
	if err != nil {
		return err
	}
	if len(stale) > 0 {
		say(sh.Err, "not of this record, remove what is out of date: %s in %s", strings.Join(stale, ", "), filepath.Join(dir, filing.Folder))
	}
	say(sh.Out, "written: %s and sheet.pdf beside it", filepath.Join(dir, filing.Folder, "sheet.html"))
	if name := c.String("bundle"); name != "" {
		packed, err := filing.Bundle(c.Context, dir, files)
		if err != nil {
			return err
		}
		if err := disk.Write(name, packed); err != nil {
			return err
		}
		say(sh.Out, "packed: %s", name)
	}
	checks, err := checksOf(c.Context, sh, found, ranking)
	if err != nil {
		return err
	}
	if open := answer.ChecksOf(words.Terminal, checks).Headline(); open != "" {
		text.NewPrinter(sh.Out).Sentence(open)
		return errNo
	}
	return nil
}

// checksOf returns the checks of a ranking, or of findings that could not be ranked.
func checksOf(ctx context.Context, sh shell, found *evaluate.Findings, ranking *rank.Ranking) ([]gate.Check, error) {
	if ranking != nil {
		return ranking.Checks, nil
	}
	return checked(ctx, sh, found)
}

// recordLine returns the command that writes the same record again in the craft
// folder.
func recordLine(c *cli.Context) string {
	line := "quietmount record"
	for _, flag := range []string{"runs", "paper"} {
		if c.IsSet(flag) {
			line += " --" + flag + " " + c.String(flag)
		}
	}
	return line
}
