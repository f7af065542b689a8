package sheet

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"unicode/utf8"

	"quietmount/report/pdf"
)

//go:embed sheet.html.tmpl
var htmlTemplate string

//go:embed sheet.css
var style string

// HTML is the document as one file: no script, nothing loaded from elsewhere,
// fit to be read on a phone, in the dark, and to be printed.
func HTML(d Document) ([]byte, error) {
	t, err := template.New("sheet").Funcs(template.FuncMap{"svg": svg, "wide": wide}).Parse(htmlTemplate)
	if err != nil {
		return nil, fmt.Errorf("sheet: %w", err)
	}
	var b bytes.Buffer
	show := func(name string, data any) {
		if err == nil {
			err = t.ExecuteTemplate(&b, name, data)
		}
	}
	show("head", page{d, template.CSS(style), template.CSS(pageSize(d.Paper))})
	for _, s := range d.Sections {
		show("open", s)
		for _, k := range s.Blocks {
			show(k.kind(), k)
		}
		show("close", s)
	}
	show("foot", d)
	if err != nil {
		return nil, fmt.Errorf("sheet: %w", err)
	}
	return b.Bytes(), nil
}

type page struct {
	Document
	Style, Size template.CSS
}

// pageSize is the CSS name of a paper.
func pageSize(p pdf.Paper) string {
	if p.Name == pdf.Letter().Name {
		return "letter"
	}
	return "A4"
}

// svg is the drawing itself: every text in it is escaped.
func svg(p Picture) (template.HTML, error) {
	s, err := p.SVG()
	return template.HTML(s), err
}

// wide is the largest width of a picture on the page, so that none is blown up
// far beyond the size that it was drawn for.
func wide(p Picture) template.CSS {
	w, _ := p.Size()
	return template.CSS(fmt.Sprintf("max-width:%.0fpt", 1.2*w))
}

// mostLetters is how long a word may get before it is broken in a table.
const mostLetters = 14

// Least is the width that a column of words keeps, so that none but a long one
// is broken.
func (t Table) Least(i int) template.CSS {
	most := 0
	for _, r := range t.Rows {
		for w := range words(r.Cells[i]) {
			most = max(most, utf8.RuneCountInString(w))
		}
	}
	return template.CSS(fmt.Sprintf("min-width:%.1fem", 0.58*float64(min(most, mostLetters))))
}
