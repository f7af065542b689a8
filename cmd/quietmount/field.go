package main

import (
	"os"

	"github.com/urfave/cli/v2"

	"quietmount/magmath/geomag"
	"quietmount/report/answer"
	"quietmount/survey/craftfile"
)

func fieldCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "field",
		Category:  groupModule,
		Usage:     "the reference field for a place and date",
		ArgsUsage: "[DIR]",
		Description: "Gives the elements of the World Magnetic Model at a place, either named by --lat and --lon\n" +
			"or taken from the craft file in DIR, with their yearly changes and uncertainty.",
		Flags: []cli.Flag{
			&cli.Float64Flag{Name: "lat", Usage: "geodetic latitude in degrees, north positive"},
			&cli.Float64Flag{Name: "lon", Usage: "longitude in degrees, east positive"},
			&cli.Float64Flag{Name: "alt-m", Usage: "height above the WGS 84 ellipsoid in metres"},
			&cli.StringFlag{Name: "date", Usage: "`YYYY-MM-DD` or a decimal year; default: the craft file's date, else today"},
			&cli.StringFlag{Name: "cof", Usage: "use another model, from a coefficient `FILE` in the COF layout"},
			jsonFlag(),
		},
		Action: func(c *cli.Context) error { return runField(c, sh) },
	}
}

func runField(c *cli.Context, sh shell) error {
	place, date, err := fieldPlace(c)
	if err != nil {
		return err
	}
	year, err := fieldYear(date, sh)
	if err != nil {
		return err
	}
	model, err := fieldModel(c.String("cof"))
	if err != nil {
		return err
	}
	a := answer.NewField(model, place, year)
	if c.Bool("json") {
		return answer.WriteJSON(sh.Out, a)
	}
	return a.Text(sh.Out)
}

// fieldPlace is the place and date that the flags give, else those of the
// craft file.
func fieldPlace(c *cli.Context) (geomag.Place, string, error) {
	dir, err := folder(c)
	if err != nil {
		return geomag.Place{}, "", err
	}
	var p geomag.Place
	var date string
	flagged := c.IsSet("lat") || c.IsSet("lon")
	if flagged && !(c.IsSet("lat") && c.IsSet("lon")) {
		return p, "", wrong("e.g. quietmount field --lat 53.3 --lon -9.1", "field wants both --lat and --lon")
	}
	if flagged && c.NArg() > 0 {
		return p, "", wrong("leave one of them out", "field takes a place either from %s or from --lat and --lon", dir)
	}
	if !flagged {
		craft, err := craftfile.Load(dir)
		if err != nil {
			return p, "", withHint(err, "name a place instead, e.g. quietmount field --lat 53.3 --lon -9.1")
		}
		s := craft.Site
		p, date = geomag.Place{LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg, AltitudeM: s.AltitudeM}, s.Date
	} else {
		p.LatitudeDeg, p.LongitudeDeg = c.Float64("lat"), c.Float64("lon")
	}
	if c.IsSet("alt-m") {
		p.AltitudeM = c.Float64("alt-m")
	}
	if c.IsSet("date") {
		date = c.String("date")
	}
	if err := p.Check(); err != nil {
		return p, "", wrong("degrees, north and east positive", "%v", err)
	}
	return p, date, nil
}

func fieldYear(date string, sh shell) (float64, error) {
	if date == "" {
		return geomag.DecimalYear(sh.Now()), nil
	}
	year, err := geomag.ParseDate(date)
	if err != nil {
		return 0, wrong("write it as 2026-06-01 or 2026.5", "--date: %v", err)
	}
	return year, nil
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
