package main

import (
	"context"
	"os"
	"path/filepath"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/survey/progress"
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
	s, err := jobOf(c.Context, dir)
	if err != nil {
		return withHint(err, "mend the craft file; quietmount verify lists everything that is wrong")
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
