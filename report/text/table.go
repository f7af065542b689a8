// Package text lays out what a terminal shows: sentences folded to its width, and
// tables whose columns align in any script. In come words, out go lines. Start
// reading at Table in table.go and Printer in printer.go.
package text

import (
	"strings"
)

// Table is a head of one or more lines and the rows under it, columns two spaces
// apart. The first column is set left, the others right. A row that starts with
// Aside is a remark across the table.
type Table struct {
	Head [][]string
	Rows [][]string
}

// Aside as the first cell marks a row whose second cell is a remark.
const Aside = "\x00"

// mostName is the largest width of the first column.
const mostName = 14

// Lines returns the table as lines. Names in the first column are cut to 14
// columns.
func (t *Table) Lines() []string {
	widths := t.widths()
	var out []string
	for _, r := range t.Head {
		out = append(out, set(r, widths))
	}
	total := 2 * (len(widths) - 1)
	for _, w := range widths {
		total += w
	}
	out = append(out, strings.Repeat("-", max(total, 1)))
	for _, r := range t.Rows {
		if r[0] == Aside {
			for _, l := range fold(r[1], Columns-6) {
				out = append(out, "      "+l)
			}
			continue
		}
		out = append(out, set(r, widths))
	}
	return out
}

// widths returns the width of each column.
func (t *Table) widths() []int {
	var widths []int
	for _, rows := range [2][][]string{t.Head, t.Rows} {
		for _, r := range rows {
			if r[0] == Aside {
				continue
			}
			for len(widths) < len(r) {
				widths = append(widths, 0)
			}
			for i, cell := range r {
				widths[i] = max(widths[i], Width(cell))
			}
		}
	}
	if len(widths) > 0 {
		widths[0] = min(widths[0], mostName)
	}
	return widths
}

// set returns one row as a line.
func set(r []string, widths []int) string {
	var b strings.Builder
	for i, cell := range r {
		if i == 0 {
			cell = Clipped(cell, widths[0])
			b.WriteString(cell + strings.Repeat(" ", widths[0]-Width(cell)))
			continue
		}
		b.WriteString(strings.Repeat(" ", 2+widths[i]-Width(cell)) + cell)
	}
	return strings.TrimRight(b.String(), " ")
}
