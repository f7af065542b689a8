package main

import (
	"bytes"
	"errors"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/report/template"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/disk"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
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
	if c.IsSet("spot") {
		return glueTemplate(c, sh, craft, o)
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

// glueTemplate writes the template of the spot that --spot names.
func glueTemplate(c *cli.Context, sh shell, craft *survey.Craft, o template.Options) error {
	if c.IsSet("overview") {
		return wrong("leave --overview out", "--overview is of the stations, not of a spot")
	}
	spot, err := spotToGlue(c, sh, craft)
	if err != nil {
		return err
	}
	return writeSheet(sh, c.String("out"), func(w io.Writer) error { return template.WriteSpot(w, craft, spot, o) })
}

// spotToGlue returns the spot of --spot: without a number the chosen one, else the
// first of the ranking.
func spotToGlue(c *cli.Context, sh shell, craft *survey.Craft) (template.Spot, error) {
	var none template.Spot
	dir, err := folder(c)
	if err != nil {
		return none, err
	}
	number := 1
	if text := c.String("spot"); text != "" {
		if number, err = strconv.Atoi(text); err != nil || number < 1 {
			return none, wrong("1 is the quietest", "--spot %s: a number of the ranking", text)
		}
	} else {
		choice, err := logbook.Chosen(dir)
		if choice != nil && choice.CraftSHA256 != "" && choice.CraftSHA256 != craft.SHA256 {
			say(sh.Err, "quietmount: warning: the craft file has changed since this spot was chosen")
		}
		if choice != nil || err != nil {
			return template.ChosenSpot(choice), err
		}
	}
	found, err := evaluateFolder(c.Context, dir, "", sh)
	if err != nil {
		return none, err
	}
	ranking, err := ranked(c.Context, sh, found, rank.Options{Most: max(10, number), Next: -1})
	if err != nil {
		return none, err
	}
	at, err := ranking.Mount(number)
	if err != nil {
		return none, wrong("see them: quietmount rank", "--spot %d: %v", number, err)
	}
	spot := template.Spot{Number: number, At: at.At, HeightMM: at.HeightMM}
	for _, r := range found.Runs {
		spot.Runs = append(spot.Runs, r.Header.Run)
	}
	slices.Sort(spot.Runs)
	return spot, nil
}

func writeTemplate(sh shell, craft *survey.Craft, name string, o template.Options) error {
	return writeSheet(sh, name, func(w io.Writer) error { return template.Write(w, craft, o) })
}

func writeSheet(sh shell, name string, write func(io.Writer) error) error {
	if !strings.EqualFold(filepath.Ext(name), ".pdf") {
		return wrong("e.g. "+strings.TrimSuffix(name, filepath.Ext(name))+".pdf", "%s: a template's name ends in .pdf", name)
	}
	var b bytes.Buffer
	err := write(&b)
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
