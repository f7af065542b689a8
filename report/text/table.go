// Package text sets what a terminal shows: sentences folded to its width, and
// tables whose columns stand under one another in any script.
package text

import (
	"strings"
)

// Table sets rows under a head of one or more lines, columns two blanks apart.
// The first column stands left, the others right. A row that starts with
// Aside is a remark that spans the table.
type Table struct {
	Head [][]string
	Rows [][]string
}

// Aside marks a row that is one remark.
const Aside = "\x00"

// mostName is the widest that the first column gets.
const mostName = 14

// Lines are the table, a line each; names in the first column are cut to a width.
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
