package main

import (
	"bytes"
	"fmt"

	"github.com/urfave/cli/v2"

	"quietmount/survey/csvfile"
	"quietmount/survey/disk"
	"quietmount/survey/logbook"
)

func runExport(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	if !c.IsSet("run") {
		return wrong("e.g. quietmount export --run 1", "which run? --run is missing")
	}
	runs, err := logbook.LoadRuns(c.Context, dir)
	if err != nil {
		return err
	}
	chosen, err := logbook.SelectRuns(runs, fmt.Sprint(c.Int("run")))
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := csvfile.Export(&b, chosen[0]); err != nil {
		return err
	}
	if c.String("out") == "" || c.String("out") == "-" {
		_, err = sh.Out.Write(b.Bytes())
		return err
	}
	return disk.Write(c.String("out"), b.Bytes())
}
