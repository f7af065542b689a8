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

// HTML returns the document as one HTML file without scripts or external resources,
// for screens of any size, light or dark, and for printing.
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
	size := "A4" // the CSS name of the paper
	if d.Paper.Name == pdf.Letter().Name {
		size = "letter"
	}
	show("head", page{d, template.CSS(style), template.CSS(size)})
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

// svg returns the drawing itself; Picture.SVG escapes every text in it.
func svg(p Picture) (template.HTML, error) {
	s, err := p.SVG()
	return template.HTML(s), err
}

// wide limits the width of a picture on the page to 1.2 times the size for which it
// was drawn.
func wide(p Picture) template.CSS {
	w, _ := p.Size()
	return template.CSS(fmt.Sprintf("max-width:%.0fpt", 1.2*w))
}

// mostLetters is the longest word that is not broken in a table.
const mostLetters = 14

// Least returns the least width of a column of words, at which only long words are
// broken. The HTML template calls it.
func (t Table) Least(i int) template.CSS {
	most := 0
	for _, r := range t.Rows {
		for w := range words(r.Cells[i]) {
			most = max(most, utf8.RuneCountInString(w))
		}
	}
	return template.CSS(fmt.Sprintf("min-width:%.1fem", 0.58*float64(min(most, mostLetters))))
}
