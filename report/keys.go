package report

import "gonum.org/v1/plot/vg"

// key explains a symbol: draw puts it into a box of keyWidth by leading around
// a point, words say what it means.
type key struct {
	draw  func(p *pen, at vg.Point)
	words string
}

const keyWidth = 26.0

// keyColumns deals the keys to columns, top to bottom, and returns the lines
// of each key's words and its column.
func (g *page) keyColumns(keys []key, columns int) (lines [][]string, column []int, tallest float64) {
	width := g.columnWidth(columns) - keyWidth - 6
	total := 0.0
	for _, k := range keys {
		l := g.wrapped(k.words, textSize, width)
		lines = append(lines, l)
		total += keyTall(l)
	}
	height, c := 0.0, 0
	for i := range keys {
		tall := keyTall(lines[i])
		if c < columns-1 && height > 0 && height+tall/2 > total/float64(columns) {
			height, c = 0, c+1
		}
		height += tall
		tallest = max(tallest, height)
		column = append(column, c)
	}
	return lines, column, tallest
}

func keyTall(lines []string) float64 { return leading*float64(max(1, len(lines))) + 3 }

func (g *page) columnWidth(columns int) float64 {
	return (g.across - 2*margin - 12*float64(columns-1)) / float64(columns)
}

func (g *page) keyHeight(keys []key, columns int) float64 {
	_, _, tallest := g.keyColumns(keys, columns)
	return tallest
}

// keys draws the keys below y.
func (g *page) keys(keys []key, columns int, top float64) {
	lines, column, _ := g.keyColumns(keys, columns)
	y, now := top, 0
	for i, k := range keys {
		if column[i] != now {
			y, now = top, column[i]
		}
		x := margin + float64(now)*(g.columnWidth(columns)+12)
		base := y - leading + 3
		if k.draw != nil {
			g.c.Push()
			k.draw(g.pen, vg.Point{X: vg.Points(x + keyWidth/2), Y: vg.Points(base + textSize*capHeight/2)})
			g.c.Pop()
		}
		for j, s := range lines[i] {
			g.text(vg.Point{X: vg.Points(x + keyWidth + 6), Y: vg.Points(base - leading*float64(j))}, s, style{size: textSize})
		}
		y -= keyTall(lines[i])
		g.pic.note("key: %s", k.words)
	}
}
