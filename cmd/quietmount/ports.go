package main

import (
	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/survey/link"
)

func portsCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:     "ports",
		Category: groupModule,
		Usage:    "list the serial ports, boards on USB first",
		Description: "Pseudo-terminals are never listed; name one with --port where a port is wanted.\n" +
			"On Linux and macOS nothing is opened to make the list.",
		Flags: []cli.Flag{jsonFlag()},
		Action: func(c *cli.Context) error {
			if c.NArg() > 0 {
				return wrong("", "ports takes no argument")
			}
			found, err := link.Ports()
			if err != nil {
				return err
			}
			a := answer.NewPorts(found)
			if c.Bool("json") {
				return answer.WriteJSON(sh.Out, a)
			}
			return a.Text(sh.Out)
		},
	}
}
