package sheet

const (
	cellGap  = 9.0 // between columns
	rowHigh  = tableSize * 1.28
	rowSpace = 2.0 // above and below the text of a row
	dense    = 0.7 // the same in a dense table
)

// grid is a table with its columns measured.
type grid struct {
	Table
	x, wide []float64
	head    [][]string // of each column, the unit last
}

// size returns the size of the column's type.
func (c Column) size() float64 {
	if c.Code {
		return codeSize
	}
	return tableSize
}

// table sets the rows and repeats the head on each page.
func (p *press) table(t Table) {
	g := p.grid(t)
	heads := p.measured(func() { p.head(g) })
	p.need(heads + 3*rowHigh)
	p.head(g)
	for _, r := range t.Rows {
		cells, high := p.row(g, r)
		remark := p.plain(r.Remark, smallSize, false, p.wide-14)
		total := high + rowHigh*float64(len(remark))
		if !p.dry && p.y+total > p.low {
			p.newPage()
			p.head(g)
		}
		for i, lines := range cells {
			for k, s := range lines {
				p.put(p.left(g, i, s, r.Strong), p.y+g.space()+rowHigh*(float64(k)+0.78), g.Columns[i].size(), black, r.Strong, s)
			}
		}
		p.y += high
		for _, l := range remark {
			p.put(p.x+14, p.y+rowHigh*0.62, smallSize-0.4, soft, false, l)
			p.y += rowHigh
		}
		p.line(p.x, p.y, p.x+p.wide, 0.3, rule)
	}
	p.y += gap
}

// grid measures the columns: each as wide as its content if there is room; else
// columns of words get narrower, down to their longest word.
func (p *press) grid(t Table) grid {
	n := len(t.Columns)
	g := grid{Table: t, x: make([]float64, n), wide: make([]float64, n), head: make([][]string, n)}
	least := make([]float64, n)
	free := p.wide - cellGap*float64(n-1)
	most := max(40, free/4) // of a word that is not broken
	for i, c := range t.Columns {
		for w := range words(c.Name) {
			least[i] = max(least[i], p.width(w, tableSize, true))
		}
		least[i] = max(least[i], p.width(c.Unit, tableSize, true))
		g.wide[i] = least[i]
		for _, r := range t.Rows {
			cell := r.Cells[i]
			wide := p.width(cell, c.size(), r.Strong)
			g.wide[i] = max(g.wide[i], wide)
			if !c.Words && !c.Code {
				least[i] = max(least[i], wide)
				continue
			}
			for w := range words(cell) {
				least[i] = max(least[i], min(most, p.width(w, c.size(), r.Strong)))
			}
		}
	}
	share(g.wide, least, free)
	x := p.x
	for i, c := range t.Columns {
		g.x[i] = x
		x += g.wide[i] + cellGap
		g.head[i] = p.plain(c.Name, tableSize, true, g.wide[i]+0.01)
		if c.Unit != "" {
			g.head[i] = append(g.head[i], c.Unit)
		}
	}
	return g
}

// share changes the widths to sum to free. It takes excess from columns above their
// least width, and distributes spare width evenly.
func share(wide, least []float64, free float64) {
	total, spare := 0.0, 0.0
	for i := range wide {
		total += wide[i]
		spare += wide[i] - least[i]
	}
	switch over := total - free; {
	case over <= 0:
		for i := range wide {
			wide[i] -= over / float64(len(wide))
		}
	case over <= spare:
		for i := range wide {
			wide[i] -= over * (wide[i] - least[i]) / spare
		}
	default: // words are broken inside
		for i := range wide {
			wide[i] = free * least[i] / (total - spare)
		}
	}
}

// head sets the head of a table.
func (p *press) head(g grid) {
	lines := 0
	for _, h := range g.head {
		lines = max(lines, len(h))
	}
	for i, h := range g.head {
		for k, s := range h {
			y := p.y + rowHigh*(float64(lines-len(h)+k)+0.78)
			p.put(p.left(g, i, s, true), y, tableSize, soft, true, s)
		}
	}
	p.y += rowHigh*float64(lines) + rowSpace
	p.line(p.x, p.y, p.x+p.wide, 0.8, black)
}

// left returns where a text of a column begins.
func (p *press) left(g grid, i int, s string, bold bool) float64 {
	c := g.Columns[i]
	if c.Words || c.Code {
		return g.x[i]
	}
	return g.x[i] + g.wide[i] - p.width(s, c.size(), bold)
}

// row breaks the cells of a row into lines and returns its height.
func (p *press) row(g grid, r Row) (cells [][]string, high float64) {
	n := 1
	for i, c := range g.Columns {
		cells = append(cells, p.plain(r.Cells[i], c.size(), r.Strong, g.wide[i]+0.01))
		n = max(n, len(cells[i]))
	}
	return cells, rowHigh*float64(n) + 2*g.space()
}

// space returns the space above and below the text of a row.
func (g grid) space() float64 {
	if g.Dense {
		return dense
	}
	return rowSpace
}
