package live

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"strconv"

	"quietmount/report/answer"
	"quietmount/report/draw"
	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey/logbook"
)

// mapView is what the map panel shows.
type mapView struct {
	Parts    []picture.MapPart      `json:"parts"`
	Part     string                 `json:"part"`
	Heights  []float64              `json:"heights_mm"`
	Height   float64                `json:"height_mm"`
	Answer   *answer.Map            `json:"answer"` // nil: not computed yet, or nothing measured
	Cells    [][]string             `json:"-"`
	Remarks  []string               `json:"remarks"`
	Picture  *shownPicture          `json:"picture"`
	Trust    string                 `json:"standard_error_picture"` // its address; empty: the part has no map
	Spot     draw.Spot              `json:"picture_spot"`
	Values   string                 `json:"values"` // address of the numbers
	Query    string                 `json:"query"`  // part and height, for more addresses
	LeftOut  map[string]leftOutView `json:"left_out"`
	Wait     string                 `json:"wait"` // what has to be measured first
	Progress computing              `json:"progress"`
}

// leftOutView is the leave-one-out check of a part.
type leftOutView struct {
	RMSE     *float64 `json:"rmse_ut"`
	Inside   *float64 `json:"inside95_percent"`
	Stations int      `json:"stations"`
}

// drawnMap is a map with its numbers.
type drawnMap struct {
	parts   []picture.MapPart
	part    string
	answer  answer.Map
	picture *draw.Picture
	mapped  bool   // it is a map, with a standard error; else discs at the stations
	values  []byte // JSON
	print   string // of the numbers
}

// mapChoice returns the part and the height that a page asks for; an empty part
// stands for the usual one.
func mapChoice(a asked) (*logbook.Folder, picture.MapOptions, error) {
	var o picture.MapOptions
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, o, err
	}
	if a.Form.Has("part") {
		known := append(loadNames(f.Craft), picture.PartShifting, picture.PartSteady, picture.PartMagnitude)
		if o.Part, err = a.Form.Pick("part", known...); err != nil {
			return nil, o, err
		}
	}
	if a.Form.Has("height_mm") {
		words := make([]string, len(f.Craft.Heights))
		for i, h := range f.Craft.Heights {
			words[i] = plain(h)
		}
		word, err := a.Form.Pick("height_mm", words...)
		if err != nil {
			return nil, o, err
		}
		height, err := strconv.ParseFloat(word, 64)
		if err != nil {
			return nil, o, serve.BadField("height_mm", "%v", err)
		}
		o.HeightMM = &height
	}
	return f, o, nil
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// mapQuery returns the choice as a query, by which the answer is kept.
func mapQuery(o picture.MapOptions) string {
	v := url.Values{}
	if o.Part != "" {
		v.Set("part", o.Part)
	}
	if o.HeightMM != nil {
		v.Set("height_mm", plain(*o.HeightMM))
	}
	return v.Encode()
}

func mapData(a asked) (any, error) {
	f, o, err := mapChoice(a)
	if err != nil {
		return nil, err
	}
	v := mapView{Heights: f.Craft.Heights, Height: f.Craft.Heights[0], Part: o.Part}
	if o.HeightMM != nil {
		v.Height = *o.HeightMM
	}
	got, progress, err := a.mapOf(soon, o)
	v.Progress = progress
	if v.Wait = a.unmeasured(err); v.Wait != "" {
		return v, nil
	}
	if err != nil || got == nil {
		return v, err
	}
	v.fill(got, mapQuery(o))
	return v, nil
}

// fill puts a map into the view. query is the choice that it was asked by.
func (v *mapView) fill(m *drawnMap, query string) {
	v.Parts, v.Part, v.Answer, v.Cells, v.Remarks = m.parts, m.part, &m.answer, m.answer.Cells(), m.answer.Asides()
	v.Query = query
	at := v.Query + "&v=" + m.print
	v.Picture, v.Spot = pictureAt(m.picture, "/file/map/picture?"+at), m.picture.Spot()
	if m.mapped {
		v.Trust = "/file/map/trust?" + at
	}
	v.Values = "/file/map/values?" + at
	v.LeftOut = map[string]leftOutView{}
	for part, l := range m.answer.LeftOut {
		shown := leftOutView{RMSE: l.RMSEUT, Stations: l.Stations}
		if l.Inside95Fraction != nil {
			shown.Inside = new(100 * *l.Inside95Fraction)
		}
		v.LeftOut[part] = shown
	}
}

// mapOf returns the map of a part at a height.
func (a asked) mapOf(p patience, o picture.MapOptions) (*drawnMap, computing, error) {
	return computed(a, p, "map "+mapQuery(o), func(ctx context.Context) (*drawnMap, error) {
		found, ranking, _, err := a.ranking(ctx)
		if err != nil {
			return nil, err
		}
		checks, err := a.checks(ctx, found)
		if err != nil {
			return nil, err
		}
		m := &drawnMap{parts: picture.MapParts(found), answer: answer.NewMap(words.Page, found, checks)}
		values, err := picture.NewMapValues(ctx, found, o)
		if err != nil {
			return nil, err
		}
		m.part, m.mapped = values.Part, values.Columns > 0
		if m.values, err = json.Marshal(values); err != nil {
			return nil, fmt.Errorf("numbers of the map: %w", err)
		}
		sum := sha256.Sum256(m.values)
		m.print = hex.EncodeToString(sum[:6])
		m.picture, err = picture.Map(ctx, found, ranking, o)
		return m, err
	})
}

// mapAsked returns the map that a file is asked of.
func mapAsked(a asked) (*drawnMap, error) {
	_, o, err := mapChoice(a)
	if err != nil {
		return nil, err
	}
	m, _, err := a.mapOf(fully, o)
	return m, err
}

func mapPicture(a asked) (serve.File, error) {
	m, err := mapAsked(a)
	if err != nil {
		return serve.File{}, err
	}
	return svgFile(a, m.picture)
}

// mapTrust answers with the map beside its standard error.
func mapTrust(a asked) (serve.File, error) {
	_, o, err := mapChoice(a)
	if err != nil {
		return serve.File{}, err
	}
	p, _, err := computed(a, fully, "maptrust "+mapQuery(o), func(ctx context.Context) (*draw.Picture, error) {
		found, err := a.findings(ctx)
		if err != nil {
			return nil, err
		}
		return picture.StandardError(ctx, found, o)
	})
	if err != nil {
		return serve.File{}, err
	}
	return svgFile(a, p)
}

func mapValues(a asked) (serve.File, error) {
	m, err := mapAsked(a)
	if err != nil {
		return serve.File{}, err
	}
	return serve.File{Type: "application/json", Body: m.values}, nil
}

// mapDownload answers with the picture as a file to save.
func mapDownload(a asked) (serve.File, error) {
	formats := map[string]string{"svg": "image/svg+xml", "png": "image/png", "pdf": "application/pdf"}
	format, err := a.Form.Pick("format", "pdf", "png", "svg")
	if err != nil {
		return serve.File{}, err
	}
	m, err := mapAsked(a)
	if err != nil {
		return serve.File{}, err
	}
	var b bytes.Buffer
	if err := m.picture.Write(&b, draw.Format(format)); err != nil {
		return serve.File{}, err
	}
	return serve.File{Type: formats[format], Body: b.Bytes(), Download: "map-" + m.part + "." + format}, nil
}
