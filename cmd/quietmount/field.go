package main

import (
	"os"

	"github.com/urfave/cli/v2"

	"quietmount/magmath/geomag"
	"quietmount/report/answer"
	"quietmount/survey"
	"quietmount/survey/craftfile"
)

func runField(c *cli.Context, sh shell) error {
	site, err := fieldSite(c)
	if err != nil {
		return err
	}
	year, err := site.Year(sh.Now())
	if err != nil {
		return wrong("write it as 2026-06-01 or 2026.5", "--date: %v", err)
	}
	model, err := fieldModel(c.String("cof"))
	if err != nil {
		return err
	}
	a := answer.NewField(model, site.Place(), year)
	return show(c, sh, a, true)
}

// fieldSite returns the place and date of the flags, else those of the craft file.
func fieldSite(c *cli.Context) (survey.Site, error) {
	var s survey.Site
	dir, err := folder(c)
	if err != nil {
		return s, err
	}
	flagged := c.IsSet("lat") || c.IsSet("lon")
	if flagged && !(c.IsSet("lat") && c.IsSet("lon")) {
		return s, wrong("e.g. quietmount field --lat 53.3 --lon -9.1", "field wants both --lat and --lon")
	}
	if flagged && c.NArg() > 0 {
		return s, wrong("leave one of them out", "field takes a place either from %s or from --lat and --lon", dir)
	}
	if flagged {
		s.LatitudeDeg, s.LongitudeDeg = c.Float64("lat"), c.Float64("lon")
	} else {
		craft, err := craftfile.Load(dir)
		if err != nil {
			return s, withHint(err, "name a place instead, e.g. quietmount field --lat 53.3 --lon -9.1")
		}
		s = craft.Site
	}
	if c.IsSet("alt-m") {
		s.AltitudeM = c.Float64("alt-m")
	}
	if c.IsSet("date") {
		s.Date = c.String("date")
	}
	if err := s.Place().Check(); err != nil {
		return s, wrong("degrees, north and east positive", "%v", err)
	}
	return s, nil
}

func fieldModel(file string) (*geomag.Model, error) {
	if file == "" {
		return geomag.WMM2025(), nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return geomag.ReadCOF(f, file)
}
