package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/picture"
	"quietmount/survey/craftfile"
	"quietmount/survey/verify"
)

func runVerify(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	problems, err := computed(c.Context, sh, "reading the folder", func(ctx context.Context, _ func(string)) ([]verify.Problem, error) {
		return verify.Folder(ctx, dir), nil
	})
	if err != nil {
		return err
	}
	a := answer.NewVerify(dir, problems)
	if err := show(c, sh, a, true); err != nil {
		return err
	}
	if out := c.String("picture"); out != "" {
		if err := drawDescription(dir, out, sh); err != nil {
			return err
		}
	}
	if a.Errors > 0 {
		return errors.New(a.Verdict)
	}
	return nil
}

// drawDescription draws the craft as described, without any results.
func drawDescription(dir, file string, sh shell) error {
	craft, err := craftfile.Load(dir)
	if err != nil {
		return fmt.Errorf("no picture: %w", err)
	}
	if err := drawTo(file, picture.Description(craft)); err != nil {
		return err
	}
	say(sh.Err, "drawn: %s", file)
	return nil
}
