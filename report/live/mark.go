package live

import (
	"bytes"
	"time"

	"quietmount/report/live/serve"
	"quietmount/report/pdf"
	"quietmount/report/template"
	"quietmount/survey"
)

// markView is what the mark panel shows.
type markView struct {
	Stations []markPlace `json:"stations"`
	Base     *markPlace  `json:"base"`
	Papers   []markPaper `json:"papers"`
	Why      string      `json:"why"` // why there is no template
}

// markPaper is a paper and how many sheets of it the template takes, the
// overview included; the underside takes as many as the top.
type markPaper struct {
	Name    string `json:"name"` // as the form sends it
	Title   string `json:"title"`
	Pages   int    `json:"pages"`
	Columns int    `json:"columns"` // of the pages to be joined
	Rows    int    `json:"rows"`
}

// markPlace is a named place on the craft, millimetres in the craft frame.
type markPlace struct {
	Name string     `json:"name"`
	At   [3]float64 `json:"at_mm"`
}

func markData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	var v markView
	for _, s := range f.Craft.Stations() {
		v.Stations = append(v.Stations, markPlace{s.Name, vec(s.At)})
	}
	if b := f.Craft.Base; b != nil {
		v.Base = &markPlace{b.Name, vec(b.At)}
	}
	if v.Papers, err = papersOf(f.Craft); err != nil {
		v.Why = err.Error()
	}
	return v, nil
}

func papersOf(c *survey.Craft) ([]markPaper, error) {
	var out []markPaper
	for _, p := range []markPaper{{Name: "a4", Title: "A4"}, {Name: "letter", Title: "Letter"}} {
		paper, _ := pdf.PaperOf(p.Name)
		l, err := template.Lay(c, template.Top, paper)
		if err != nil {
			return nil, err
		}
		p.Columns, p.Rows = l.Columns, l.Rows
		p.Pages = 1 + p.Columns*p.Rows
		out = append(out, p)
	}
	return out, nil
}

// printing returns the side and the paper that a form asks a template for.
func printing(a asked) (template.Side, pdf.Paper, error) {
	side, err := a.Form.Pick("side", string(template.Top), string(template.Underside))
	if err != nil {
		return "", pdf.Paper{}, err
	}
	name, err := a.Form.Pick("paper", "a4", "letter")
	if err != nil {
		return "", pdf.Paper{}, err
	}
	paper, _ := pdf.PaperOf(name) // both are known
	return template.Side(side), paper, nil
}

// markTemplate answers with the PDF to print. It carries the date of the craft file,
// so that the same file gives the same bytes; today's date if the file has none.
func markTemplate(a asked) (serve.File, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return serve.File{}, err
	}
	side, paper, err := printing(a)
	if err != nil {
		return serve.File{}, err
	}
	var b bytes.Buffer
	if err := template.Write(&b, f.Craft, template.Options{
		Side: side, Paper: paper, Date: fileDate(f.Craft, a.Now()), Tool: a.Tool,
	}); err != nil {
		return serve.File{}, err
	}
	return serve.File{Type: "application/pdf", Body: b.Bytes(), Download: "stations-" + string(side) + ".pdf"}, nil
}

func fileDate(c *survey.Craft, now time.Time) time.Time {
	if day, err := time.Parse(time.DateOnly, c.Site.Date); err == nil {
		return day
	}
	y, m, d := now.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}
