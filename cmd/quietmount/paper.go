package main

import (
	"github.com/urfave/cli/v2"

	"quietmount/report/pdf"
)

// paperOf is the paper of the flag.
func paperOf(c *cli.Context) (pdf.Paper, error) {
	paper, ok := pdf.PaperOf(c.String("paper"))
	if !ok {
		return paper, wrong("e.g. --paper letter", "--paper %s: paper is a4 or letter", c.String("paper"))
	}
	return paper, nil
}
