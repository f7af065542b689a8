package sheet

import (
	"iter"
	"strings"

	"quietmount/report/pdf"
)

// run is text in regular or bold.
type run struct {
	text string
	bold bool
}

// width returns the width of a text, points, with letters that the font lacks
// replaced.
func (p *press) width(s string, size float64, bold bool) float64 {
	s, _ = p.letters.Printable(s)
	p.scale.SetFont(pdf.Family, cut(bold), size)
	return p.scale.GetStringWidth(s)
}

// cut returns the style of the font.
func cut(bold bool) string {
	if bold {
		return "B"
	}
	return ""
}

// put writes a text with its base line at y, unless only measuring.
func (p *press) put(x, y, size float64, grey int, bold bool, s string) {
	if p.dry || s == "" {
		return
	}
	s, whole := p.letters.Printable(s)
	p.lacking = p.lacking || !whole
	p.doc.SetFont(pdf.Family, cut(bold), size)
	p.doc.SetTextColor(grey, grey, grey)
	p.doc.Text(x, y, s)
}

// flow sets runs one after the other over the whole width, broken into lines, and
// moves y below them.
func (p *press) flow(size, high float64, grey int, runs ...run) {
	for _, l := range p.lines(runs, size, p.wide) {
		p.need(high)
		x := p.x
		for _, piece := range l {
			p.put(x, p.y+high*0.76, size, grey, piece.bold, piece.text)
			x += p.width(piece.text+" ", size, piece.bold)
		}
		p.y += high
	}
}

// lines breaks runs between words, and a word that is wider than a line inside.
func (p *press) lines(runs []run, size, most float64) [][]run {
	var out [][]run
	var line []run
	used := 0.0
	for _, r := range runs {
		blank := p.width(" ", size, r.bold)
		for _, w := range p.pieces(r.text, size, r.bold, most) {
			wide := p.width(w, size, r.bold)
			if len(line) > 0 && used+blank+wide > most {
				out, line, used = append(out, line), nil, 0
			}
			switch n := len(line); {
			case n == 0:
				line, used = []run{{w, r.bold}}, wide
			case line[n-1].bold == r.bold:
				line[n-1].text += " " + w
				used += blank + wide
			default:
				line = append(line, run{w, r.bold})
				used += blank + wide
			}
		}
	}
	if len(line) > 0 {
		out = append(out, line)
	}
	return out
}

// pieces returns the words of a text, one that is wider than a line in parts.
func (p *press) pieces(s string, size float64, bold bool, most float64) []string {
	var out []string
	for w := range words(s) {
		for p.width(w, size, bold) > most {
			head := p.fitting(w, size, bold, most)
			out = append(out, head)
			w = w[len(head):]
		}
		if w != "" {
			out = append(out, w)
		}
	}
	return out
}

// fitting returns the longest beginning of a word that fits, at least one letter.
func (p *press) fitting(w string, size float64, bold bool, most float64) string {
	end := len(w)
	for i := range w {
		if i > 0 && p.width(w[:i], size, bold) > most {
			break
		}
		if i > 0 {
			end = i
		}
	}
	if end == len(w) { // a single letter
		return w
	}
	return w[:end]
}

// plain breaks a text in one style into lines.
func (p *press) plain(s string, size float64, bold bool, most float64) []string {
	var out []string
	for _, l := range p.lines([]run{{s, bold}}, size, most) {
		out = append(out, l[0].text)
	}
	return out
}

// cut returns a text, shortened to a width with an ellipsis if it is wider.
func (p *press) cut(s string, size, most float64) string {
	if p.width(s, size, false) <= most {
		return s
	}
	return p.fitting(s, size, false, most-p.width("…", size, false)) + "…"
}

// words returns the words of s. A no-break space does not separate words.
func words(s string) iter.Seq[string] {
	return strings.FieldsFuncSeq(s, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' || r == '\r' })
}
