package sheet

import "slices"

// block sets one block.
func (p *press) block(b Block) {
	switch b := b.(type) {
	case Verdict:
		p.verdict(b)
	case Text:
		p.text(b)
	case List:
		p.list(b)
	case Facts:
		p.facts(b)
	case Table:
		p.table(b)
	case Pictures:
		p.pictures(b)
	case Blanks:
		p.blanks(b)
	case Frames:
		p.frames(b)
	}
}

// beginning returns the height that must fit under a heading: a short block whole,
// a few lines of a long one, a picture at its smallest.
func (p *press) beginning(blocks []Block) float64 {
	const few = 64
	if len(blocks) == 0 {
		return 0
	}
	if b, ok := blocks[0].(Pictures); ok {
		return shrunk * p.tallest(b, 0)
	}
	return min(few, p.measured(func() { p.block(blocks[0]) }))
}

func (p *press) verdict(v Verdict) {
	const inner = 12
	set := func() {
		p.y += 7
		p.inset(inner, inner, func() {
			p.flow(smallSize, 11, soft, run{text: v.Word, bold: true})
			p.flow(12.5, 16.5, black, run{text: v.Sentence})
		})
		p.y += 7
	}
	high := p.measured(set)
	p.need(high)
	p.fill(p.x, p.y, p.wide, high, tint)
	if v.Bad {
		p.fill(p.x, p.y, 1.6, high, black)
		p.fill(p.x+3.4, p.y, 1.6, high, black)
	} else {
		p.fill(p.x, p.y, 5, high, black)
	}
	set()
	p.y += gap
}

func (p *press) text(t Text) {
	size, grey := bodySize, black
	if t.Small {
		size, grey = smallSize, soft
	}
	var runs []run
	if t.Lead != "" {
		runs = append(runs, run{t.Lead, true})
	}
	p.flow(size, size*leading, grey, append(runs, run{text: t.Body})...)
	p.y += gap * 0.7
}

func (p *press) list(l List) {
	const indent = 11
	for _, item := range l.Items {
		set := func() {
			p.inset(indent, 0, func() { p.flow(bodySize, bodySize*leading, black, run{text: item}) })
		}
		p.need(min(p.measured(set), 4*bodySize*leading))
		p.put(p.x+2, p.y+bodySize*leading*0.76, bodySize, black, false, "•")
		set()
		p.y += 1.5
	}
	p.y += gap * 0.5
}

// facts sets two columns: name and value.
func (p *press) facts(f Facts) {
	const names, high = 122.0, bodySize * 1.3
	for i, r := range f.Rows {
		name := p.plain(r.Name, smallSize, false, names-8)
		value := p.plain(r.Value, bodySize, false, p.wide-names)
		n := max(len(name), len(value))
		p.need(high*float64(min(n, 6)) + 3)
		for k := range n {
			p.need(high)
			if k < len(name) {
				p.put(p.x, p.y+high*0.78, smallSize, soft, false, name[k])
			}
			if k < len(value) {
				p.put(p.x+names, p.y+high*0.78, bodySize, black, false, value[k])
			}
			p.y += high
		}
		p.y += 1.5
		if i < len(f.Rows)-1 {
			p.line(p.x, p.y, p.x+p.wide, 0.4, rule)
		}
		p.y += 1.5
	}
	p.y += gap * 0.5
}

// A picture is reduced to the width, and to fill the rest of a page further by at
// most the factor shrunk.
const (
	shrunk = 0.75
	aisle  = 14.0 // between pictures
)

// rows returns the rows of pictures.
func (b Pictures) rows() [][]Picture {
	return slices.Collect(slices.Chunk(b.Items, max(1, b.Across)))
}

// cell returns the width of a picture's place.
func (p *press) cell(b Pictures) float64 {
	n := float64(max(1, min(b.Across, len(b.Items))))
	return (p.wide - (n-1)*aisle) / n
}

// tallest returns the height of a row of pictures.
func (p *press) tallest(b Pictures, row int) float64 {
	high := 0.0
	if rows := b.rows(); row < len(rows) {
		for _, pic := range rows[row] {
			w, h := pic.Size()
			high = max(high, h*min(1, p.cell(b)/w))
		}
	}
	return min(high, p.low-topMargin-30)
}

func (p *press) pictures(b Pictures) {
	cell := p.cell(b)
	for i, row := range b.rows() {
		high := p.tallest(b, i)
		if left := p.low - p.y; !p.dry && high > left && shrunk*high <= left {
			high = left
		}
		p.need(high)
		for k, pic := range row {
			w, h := pic.Size()
			scale := min(1, cell/w, high/h)
			x := p.x + float64(k)*(cell+aisle) + (cell-scale*w)/2
			if p.dry {
				continue
			}
			if err := pic.PaintPDF(p.doc, x, p.y, scale); err != nil {
				p.doc.SetError(err)
			}
		}
		p.y += high + gap
	}
}

// blanks sets two columns.
func (p *press) blanks(b Blanks) {
	const high = 29
	wide := (p.wide - aisle) / 2
	for row := range slices.Chunk(b.Names, 2) {
		p.need(high)
		for k, name := range row {
			x := p.x + float64(k)*(wide+aisle)
			p.put(x, p.y+high-4, smallSize, soft, false, p.cut(name, smallSize, wide/2))
			p.line(x, p.y+high, x+wide, 0.6, black)
		}
		p.y += high
	}
	p.y += gap
}

func (p *press) frames(f Frames) {
	const high = 150
	n := float64(max(1, len(f.Captions)))
	wide := (p.wide - (n-1)*aisle) / n
	p.need(high + 14)
	for k, caption := range f.Captions {
		x := p.x + float64(k)*(wide+aisle)
		p.frame(x, p.y, wide, high, 0.6, 3, 3)
		p.put(x, p.y+high+11, smallSize, soft, false, p.cut(caption, smallSize, wide))
	}
	p.y += high + 14 + gap
}
