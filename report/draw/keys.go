package draw

import "gonum.org/v1/plot/vg"

// Key is an entry of the legend. Draw draws its symbol around a point, in a box of
// keyWidth by leading points; nil: the entry is words only.
type Key struct {
	Draw  func(p *Pen, at vg.Point)
	Words string
}

const keyWidth = 26.0

// keyColumns distributes the keys over columns, top to bottom. It returns the
// lines of each key's words, its column, and the height of the tallest column.
func (g *Page) keyColumns(keys []Key, columns int) (lines [][]string, column []int, tallest float64) {
	width := g.columnWidth(columns) - keyWidth - 6
	total := 0.0
	for _, k := range keys {
		l := g.Wrapped(k.Words, TextSize, width)
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

// keyTall returns the height of a key, points.
func keyTall(lines []string) float64 { return leading*float64(max(1, len(lines))) + 3 }

// columnWidth returns the width of a column of keys, points.
func (g *Page) columnWidth(columns int) float64 {
	return (g.Across - 2*Margin - 12*float64(columns-1)) / float64(columns)
}

// keys draws the keys below top.
func (g *Page) keys(keys []Key, columns int, top float64) {
	lines, column, _ := g.keyColumns(keys, columns)
	y, now := top, 0
	for i, k := range keys {
		if column[i] != now {
			y, now = top, column[i]
		}
		x := Margin + float64(now)*(g.columnWidth(columns)+12)
		base := y - leading + 3
		if k.Draw != nil {
			g.Canvas.Push()
			k.Draw(g.Pen, vg.Point{X: vg.Points(x + keyWidth/2), Y: vg.Points(base + TextSize*capHeight/2)})
			g.Canvas.Pop()
		}
		for j, s := range lines[i] {
			g.Text(vg.Point{X: vg.Points(x + keyWidth + 6), Y: vg.Points(base - leading*float64(j))}, s, Style{Size: TextSize})
		}
		y -= keyTall(lines[i])
		g.Picture.Note("key: %s", k.Words)
	}
}
