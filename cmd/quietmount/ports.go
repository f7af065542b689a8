package main

import (
	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/survey/link"
)

func runPorts(c *cli.Context, sh shell) error {
	if c.NArg() > 0 {
		return wrong("", "ports takes no argument")
	}
	found, err := link.Ports()
	if err != nil {
		return err
	}
	a := answer.NewPorts(found)
	return show(c, sh, a, true)
}
