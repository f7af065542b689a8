package report

import (
	"strings"
)

// table sets rows under a head of one or more lines, columns two blanks apart.
// The first column stands left, the others right. A row that starts with
// aside is a remark that spans the table.
type table struct {
	head [][]string
	rows [][]string
}

// aside marks a row that is one remark.
const aside = "\x00"

// mostName is the widest that the first column gets.
const mostName = 14

func (t *table) lines() []string {
	widths := t.widths()
	var out []string
	for _, r := range t.head {
		out = append(out, set(r, widths))
	}
	total := 2 * (len(widths) - 1)
	for _, w := range widths {
		total += w
	}
	out = append(out, strings.Repeat("-", max(total, 1)))
	for _, r := range t.rows {
		if r[0] == aside {
			for _, l := range fold(r[1], textColumns-6) {
				out = append(out, "      "+l)
			}
			continue
		}
		out = append(out, set(r, widths))
	}
	return out
}

func (t *table) widths() []int {
	var widths []int
	for _, rows := range [2][][]string{t.head, t.rows} {
		for _, r := range rows {
			if r[0] == aside {
				continue
			}
			for len(widths) < len(r) {
				widths = append(widths, 0)
			}
			for i, cell := range r {
				widths[i] = max(widths[i], displayWidth(cell))
			}
		}
	}
	if len(widths) > 0 {
		widths[0] = min(widths[0], mostName)
	}
	return widths
}

func set(r []string, widths []int) string {
	var b strings.Builder
	for i, cell := range r {
		if i == 0 {
			cell = clipped(cell, widths[0])
			b.WriteString(cell + strings.Repeat(" ", widths[0]-displayWidth(cell)))
			continue
		}
		b.WriteString(strings.Repeat(" ", 2+widths[i]-displayWidth(cell)) + cell)
	}
	return strings.TrimRight(b.String(), " ")
}
