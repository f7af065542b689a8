package main

import (
	"errors"
	"os"
	"path/filepath"

	"github.com/urfave/cli/v2"

	"quietmount/report"
	"quietmount/report/filing"
	"quietmount/survey"
	"quietmount/survey/standing"
)

// showStanding is what quietmount alone does: it says where the job of this
// folder stands.
func showStanding(c *cli.Context, sh shell) error {
	dir := "."
	if c.NArg() > 0 {
		dir = c.Args().First()
		if info, err := os.Stat(dir); c.NArg() > 1 || err != nil || !info.IsDir() {
			return unknownCommand(c)
		}
	}
	s, err := standingOf(dir)
	if err != nil {
		return withHint(err, "mend the craft file; quietmount verify lists everything that is wrong")
	}
	answer := report.NewStandingAnswer(s)
	if c.Bool("json") {
		return report.WriteJSON(sh.Out, answer)
	}
	return answer.Text(sh.Out)
}

func standingOf(dir string) (*standing.Standing, error) {
	craft, err := survey.LoadCraft(dir)
	if _, missing := errors.AsType[*survey.NoCraftError](err); missing {
		return standing.Of(dir, nil, nil, false), nil
	}
	if err != nil {
		return nil, err
	}
	runs, err := survey.LoadRuns(dir)
	if err != nil {
		return nil, err
	}
	swings, err := survey.LoadSwings(dir)
	if err != nil {
		return nil, err
	}
	_, err = os.Stat(filepath.Join(dir, filing.Folder, "sheet.html"))
	s := standing.Of(dir, craft, runs, err == nil)
	s.Finish(dir, swings)
	return s, nil
}
