package main

import (
	"bytes"
	"errors"
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/report/template"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/disk"
)

func runTemplate(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	if c.String("out") == "" {
		return wrong("e.g. --out template.pdf", "template wants --out FILE.pdf")
	}
	craft, err := craftfile.Load(dir)
	if err != nil {
		return err
	}
	o := template.Options{Side: template.Side(c.String("side")), Date: templateDate(craft, sh), Tool: version()}
	if o.Paper, err = paperOf(c); err != nil {
		return err
	}
	if err := writeTemplate(sh, craft, c.String("out"), o); err != nil {
		return err
	}
	if name := c.String("overview"); name != "" {
		o.OverviewOnly = true
		return writeTemplate(sh, craft, name, o)
	}
	return nil
}

func writeTemplate(sh shell, craft *survey.Craft, name string, o template.Options) error {
	var b bytes.Buffer
	err := template.Write(&b, craft, o)
	if errors.Is(err, template.ErrSide) {
		return wrong("e.g. --side underside", "--side %v", err)
	}
	if err != nil {
		return err
	}
	if err := disk.Write(name, b.Bytes()); err != nil {
		return err
	}
	say(sh.Err, "written: %s", name)
	return nil
}

// templateDate returns the craft file's date, so that the same file gives the same
// bytes; today's if it has none.
func templateDate(c *survey.Craft, sh shell) time.Time {
	if day, err := time.Parse(time.DateOnly, c.Site.Date); err == nil {
		return day
	}
	y, m, d := sh.Now().Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}
