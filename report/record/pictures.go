package record

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"quietmount/report/draw"
	"quietmount/report/picture"
	"quietmount/report/sheet"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// namedPicture is a picture of the record, with the name of its files.
type namedPicture struct {
	name    string
	picture *draw.Picture
	beside  bool // in the folder only, not on the sheet
}

// recordPictures draws the maps of the parts that were measured; states and heights
// if there are several; the standard error of the map; and the loads against their
// currents.
func recordPictures(ctx context.Context, f *evaluate.Findings, ranking *rank.Ranking) ([]namedPicture, error) {
	var out []namedPicture
	known := &picture.Known{}
	taken := func(file string) bool {
		return slices.ContainsFunc(out, func(p namedPicture) bool { return p.name == file })
	}
	// Further pages are numbered, and so are loads whose file names are equal.
	add := func(name string, pages []*draw.Picture, err error) error {
		for _, p := range pages {
			file := name
			for i := 2; taken(file); i++ {
				file = fmt.Sprintf("%s-%d", name, i)
			}
			out = append(out, namedPicture{name: file, picture: p, beside: name == "map-magnitude" && len(out) > 0})
		}
		return err
	}
	one := func(name string, p *draw.Picture, err error) error {
		if err != nil {
			return err
		}
		return add(name, []*draw.Picture{p}, nil)
	}
	for _, part := range picture.MappedParts(f) {
		p, err := picture.Map(ctx, f, ranking, picture.MapOptions{Part: part, Known: known})
		if err := one("map-"+fileWord(part), p, err); err != nil {
			return nil, err
		}
	}
	if f.Map == nil || f.Map.Steady == nil && len(f.Map.Loads) == 0 {
		return out, nil
	}
	if len(f.Map.Loads) > 1 {
		pages, err := picture.States(ctx, f, ranking, picture.MapOptions{Known: known})
		if err := add("map-states", pages, err); err != nil {
			return nil, err
		}
	}
	if len(f.Craft.Heights) > 1 {
		pages, err := picture.Heights(ctx, f, ranking, picture.MapOptions{Known: known})
		if err := add("map-heights", pages, err); err != nil {
			return nil, err
		}
	}
	p, err := picture.StandardError(ctx, f, picture.MapOptions{Known: known})
	if err := one("map-standard-error", p, err); err != nil {
		return nil, err
	}
	for _, l := range f.Loads {
		if p, err := picture.LoadChart(f, ranking, picture.LoadChartOptions{Load: l.Name}); err == nil { // else there is no current to draw it against
			_ = add("load-"+fileWord(l.Name), []*draw.Picture{p}, nil)
		}
	}
	return out, nil
}

// pictureFiles appends a picture in every format.
func pictureFiles(files []File, name string, p *draw.Picture) ([]File, error) {
	for _, format := range []draw.Format{draw.PNG, draw.SVG, draw.PDF} {
		var b bytes.Buffer
		if err := p.Write(&b, format); err != nil {
			return nil, err
		}
		files = append(files, File{name + "." + string(format), b.Bytes()})
	}
	return files, nil
}

// maps returns the section of all pictures but the deviation card.
func (m *sheetMaker) maps() sheet.Section {
	s := sheet.Section{Title: "Maps"}
	for _, p := range m.pictures {
		if !p.beside {
			s.Blocks = append(s.Blocks, sheet.Pictures{Across: 1, Items: []sheet.Picture{p.picture}})
		}
	}
	if len(s.Blocks) == 0 {
		s.Blocks = []sheet.Block{sheet.Text{Body: "Nothing was measured that could be drawn."}}
	}
	return s
}
