package main

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"

	"quietmount/report/draw"
	"quietmount/report/picture"
	"quietmount/survey/disk"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// pictureFlags each ask for another picture than the one map.
var pictureFlags = [...]string{"states", "heights", "standard-error", "load-chart"}

// drawMaps writes the pictures of --out and its accompanying flags and names the
// files.
func drawMaps(c *cli.Context, sh shell, asked string, found *evaluate.Findings) ([]string, error) {
	out := c.String("out")
	if out == "" {
		return nil, nil
	}
	ranking, err := ranked(c.Context, sh, found, rank.Options{})
	if err != nil {
		ranking = nil // a map can be drawn where nothing can be ranked
	}
	pictures, err := computed(c.Context, sh, "drawing the map", func(ctx context.Context, _ func(string)) ([]*draw.Picture, error) {
		return mapPictures(ctx, c, asked, found, ranking)
	})
	if err != nil {
		return nil, fmt.Errorf("no picture: %w", err)
	}
	var files []string
	for i, p := range pictures {
		if c.Bool("dark") {
			p = p.Dark()
		}
		file := pageFile(out, i+1)
		if err := drawTo(file, p); err != nil {
			return nil, err
		}
		files = append(files, file)
	}
	return files, nil
}

// askedPicture returns the one flag of pictureFlags that is set, "" for none. It
// refuses flags that do not go together and a file of another format,
// before anything is computed.
func askedPicture(c *cli.Context) (string, error) {
	asked := ""
	for _, flag := range pictureFlags {
		if !c.IsSet(flag) {
			continue
		}
		if asked != "" {
			return "", wrong("draw one after the other", "--%s and --%s: one picture at a time", asked, flag)
		}
		asked = flag
	}
	for _, flag := range append(pictureFlags[:], "height", "phone", "dark", "at") {
		if c.IsSet(flag) && c.String("out") == "" {
			return "", wrong("add --out FILE.png", "--%s says what to draw, and there is no --out", flag)
		}
	}
	if c.IsSet("at") && asked != "load-chart" {
		return "", wrong("e.g. --load-chart NAME --at B2,C4", "--at names the stations of a --load-chart")
	}
	if out := c.String("out"); out != "" {
		_, err := formatOf(out)
		return asked, err
	}
	return asked, nil
}

func mapPictures(ctx context.Context, c *cli.Context, asked string, found *evaluate.Findings, ranking *rank.Ranking) ([]*draw.Picture, error) {
	o := picture.MapOptions{Part: c.String("part"), HeightMM: optionalFloat(c, "height"), Narrow: c.Bool("phone")}
	one := func(p *draw.Picture, err error) ([]*draw.Picture, error) { return []*draw.Picture{p}, err }
	switch asked {
	case "states":
		return picture.States(ctx, found, ranking, o)
	case "heights":
		return picture.Heights(ctx, found, ranking, o)
	case "standard-error":
		return one(picture.StandardError(ctx, found, o))
	case "load-chart":
		return one(picture.LoadChart(found, ranking, picture.LoadChartOptions{Load: c.String("load-chart"), Stations: namesOf(c.String("at")), Narrow: c.Bool("phone")}))
	}
	return one(picture.Map(ctx, found, ranking, o))
}

// namesOf returns names separated by commas.
func namesOf(s string) []string {
	var out []string
	for name := range strings.SplitSeq(s, ",") {
		if name = strings.TrimSpace(name); name != "" {
			out = append(out, name)
		}
	}
	return out
}

// pageFile returns the file of a page: map.png, map-2.png, ...
func pageFile(file string, page int) string {
	if page == 1 {
		return file
	}
	ext := filepath.Ext(file)
	return fmt.Sprintf("%s-%d%s", strings.TrimSuffix(file, ext), page, ext)
}

// formatOf returns the format of a picture that its file's name asks for.
func formatOf(file string) (draw.Format, error) {
	format := draw.Format(strings.TrimPrefix(strings.ToLower(filepath.Ext(file)), "."))
	switch format {
	case draw.PNG, draw.SVG, draw.PDF:
		return format, nil
	}
	return "", wrong("e.g. map.png", "%s: a picture's name ends in .png, .svg or .pdf", file)
}

// drawTo writes a picture in the format that the file's name asks for.
func drawTo(file string, p *draw.Picture) error {
	format, err := formatOf(file)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := p.Write(&b, format); err != nil {
		return err
	}
	return disk.Write(file, b.Bytes())
}
