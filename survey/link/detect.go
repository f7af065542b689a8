package link

import (
	"fmt"
	"slices"

	"quietmount/magmath/remark"
)

// hold keeps a line until the decision; a line without numbers only if it may be
// a header or name a quantity.
func (d *Decoder) hold(line []byte, ts, clockS float64, hasClock bool) {
	scan(line, groupNone, &d.sc)
	if d.sc.n == 0 && !isComment(line) && parseHeader(line) == nil && line[len(line)-1] != ':' {
		if d.lastText == "" {
			d.textTS = ts
		}
		d.lastText = string(line[:min(len(line), 80)])
		d.n.Other++
		return
	}
	if isComment(line) && parseHeader(line) == nil {
		d.n.Other++
		return
	}
	if len(d.held) == maxHeld {
		d.held = d.held[1:]
		d.n.Undecoded++
	}
	text := slices.Clone(line)
	if hasClock { // put the clock back, so that the line can be read again
		text = fmt.Appendf(nil, "%02d:%02d:%06.3f -> %s", int(clockS)/3600, int(clockS)/60%60, clockS-60*float64(int(clockS)/60), line)
	}
	d.held = append(d.held, heldLine{text, ts})
}

// ripe reports whether it is time to decide.
func (d *Decoder) ripe(ts float64) bool {
	if len(d.held) == 0 {
		return false
	}
	age := ts - d.held[0].ts
	return len(d.held) >= maxHeld || age >= detectS && len(d.held) >= enoughLines || age >= patientS && len(d.held) >= fewLines
}

// decide finds the format of the held lines and delivers them, or reports which
// options would settle it.
func (d *Decoder) decide(dst []Item, ts float64) []Item {
	held := d.held
	d.held = nil
	sch, g := detect(held, d.opts)
	if g.Confidence < minConfidence {
		if len(held) == 0 {
			g.Why = []remark.Remark{remark.New("link.guess-text", remark.Values{"line": d.lastText})}
		}
		d.n.Undecoded += len(held)
		d.err, d.lastText = &UndecidedError{g}, ""
		return d.remarkOnce(dst, ts, fmt.Sprint(g.Shape, g.Settle), remark.New("link.undecided", remark.Values{"why": g.Why, "settle": g.Settle}))
	}
	d.err, d.decided, d.guess, d.raw = nil, true, g, nil
	d.asm = assembler{schema: sch}
	d.group = groupNone
	dst = d.remark(dst, held[0].ts, g.Remark())
	for _, h := range held {
		dst = d.line(dst, h.text, h.ts)
	}
	return dst
}

// numeric is a held line with its numbers.
type numeric struct {
	sc scanned
	ts float64
}

// detect returns the schema of the lines. A confidence below minConfidence means
// that they are undecided.
func detect(held []heldLine, o DecodeOptions) (schema, Guess) {
	lines, header := scanHeld(held)
	if o.Columns != nil {
		return detectNamed(lines, o)
	}
	sch, n := detectLabels(lines)
	bare, count := commonCount(lines)
	switch {
	case n >= 2 && n*2 >= bare, n >= 1 && bare == 0:
		return finish(sch, lines, o, labelGuess(&sch))
	case bare >= 2 || bare == 1 && header != nil:
		return detectColumns(lines, count, header, o)
	}
	if len(lines) == 0 {
		return schema{}, Guess{Shape: "no numbers", Why: []remark.Remark{remark.New("link.guess-no-numbers")}}
	}
	return schema{}, Guess{Why: []remark.Remark{remark.New("link.guess-no-shape")}, Settle: []remark.Remark{settleColumns()}}
}

// scanHeld scans the lines and finds the last header among them.
func scanHeld(held []heldLine) (lines []numeric, header []Column) {
	g := groupNone
	for _, h := range held {
		text, _, _ := stripPrefix(h.text)
		if len(text) == 0 {
			continue
		}
		var n numeric
		scan(text, g, &n.sc)
		if c := parseHeader(text); c != nil && (n.sc.n == 0 || isComment(text)) {
			header = c
		}
		if isComment(text) {
			continue
		}
		if n.sc.n == 0 {
			if text[len(text)-1] == ':' {
				g = parseGroup(text)
			}
			continue
		}
		n.ts = h.ts
		lines = append(lines, n)
	}
	return lines, header
}

// detectNamed returns the schema of the given columns.
func detectNamed(lines []numeric, o DecodeOptions) (schema, Guess) {
	sch := schema{columns: o.Columns, named: true}
	fits, count := 0, 0
	for i := range lines {
		if lines[i].sc.n == len(o.Columns) {
			fits++
		} else {
			count = lines[i].sc.n
		}
	}
	g := Guess{Shape: "columns as named", Columns: o.Columns.String(), Confidence: 1, Why: []remark.Remark{remark.New("link.guess-given")}}
	if fits == 0 {
		g.Confidence, g.Settle = 0, []remark.Remark{settleColumns()}
		g.Why = []remark.Remark{remark.New("link.guess-misfit", remark.Values{"columns": len(o.Columns), "numbers": count})}
		return sch, g
	}
	if u := columnUnit(o.Columns, roleT); u != unitNone {
		sch.timeUnit = u
	} else {
		sch.timeUnit = guessTimeUnit(timesOf(trial(sch, lines)))
	}
	return finish(sch, lines, o, g)
}

func columnUnit(cs []Column, k role) unit {
	for _, c := range cs {
		if c.role == k {
			return c.unit
		}
	}
	return unitNone
}

// detectLabels returns the schema by labels; n is the number of lines with a
// component of the field.
func detectLabels(lines []numeric) (sch schema, n int) {
	var sure, bare []role
	for i := range lines {
		sc := lines[i].sc
		lists(&sc)
		for j := range sc.n {
			switch k := sc.fields[j].role; {
			case k >= roleX && k <= roleZ:
				sure = append(sure, k)
			case k >= roleBareX && k <= roleBareZ:
				bare = append(bare, roleX+k-roleBareX)
			}
		}
	}
	axes := sure
	if !allAxes(sure) {
		axes, sch.bareIsMag = append(bare, sure...), true
		if !allAxes(bare) {
			return sch, 0
		}
		axes = bare
	}
	for i := range lines {
		if m := magOf(&lines[i].sc, sch); m != 0 {
			n++
			if m != magMask {
				sch.first = roleX
			}
		}
	}
	if sch.first != roleNone {
		sch.first = opening(lines, sch, axes)
	}
	return sch, n
}

func allAxes(axes []role) bool {
	return slices.Contains(axes, roleX) && slices.Contains(axes, roleY) && slices.Contains(axes, roleZ)
}

// magOf returns the axes of the field in a line.
func magOf(line *scanned, sch schema) uint32 {
	sc, a, m := *line, assembler{schema: sch}, uint32(0)
	lists(&sc)
	for i := range sc.n {
		if k := a.roleIn(&sc.fields[i]); k >= roleX && k <= roleZ {
			m |= 1 << k
		}
	}
	return m
}

// opening returns the first axis of a vector over several lines: the axis after
// other lines, else x or, in descending order, z.
func opening(lines []numeric, sch schema, axes []role) role {
	var after [nRoles]int
	prev := magMask + uint32(1)
	for i := range lines {
		m := magOf(&lines[i].sc, sch)
		if m != 0 && prev == 0 {
			for k := roleX; k <= roleZ; k++ {
				if m&(1<<k) != 0 {
					after[k]++
					break
				}
			}
		}
		prev = m
	}
	best := roleX
	for k := roleX; k <= roleZ; k++ {
		if after[k] > after[best] {
			best = k
		}
	}
	if after[best] > 0 {
		return best
	}
	forward := 0
	for i := 1; i < len(axes); i++ {
		switch (int(axes[i]) - int(axes[i-1]) + 3) % 3 {
		case 1:
			forward++
		case 2:
			forward--
		}
	}
	if forward < 0 {
		return roleZ
	}
	return roleX
}

func labelGuess(sch *schema) Guess {
	g := Guess{Shape: "labels", Columns: "x,y,z by label", Confidence: 0.95, Why: []remark.Remark{remark.New("link.guess-labels")}}
	if sch.bareIsMag {
		g.Confidence, g.Why = 0.9, []remark.Remark{remark.New("link.guess-bare-labels")}
	}
	if sch.first != roleNone {
		g.Shape = "labels over several lines"
	}
	return g
}

// commonCount returns the most frequent count of numbers among lines without
// labels (except one in front), and the number of such lines.
func commonCount(lines []numeric) (n, count int) {
	var seen [maxFields + 1]int
	for i := range lines {
		sc := &lines[i].sc
		if sc.n >= 3 && (sc.labels == 0 || sc.labels == 1 && sc.fields[0].label) {
			seen[sc.n]++
		}
	}
	for k, v := range seen {
		if v > n {
			n, count = v, k
		}
	}
	return n, count
}

// trial reads lines by a schema whose scales may be unknown.
func trial(sch schema, lines []numeric) []reading {
	a := assembler{schema: sch}
	var out []reading
	for i := range lines {
		sc := lines[i].sc
		if a.take(&sc) == vVector {
			out = append(out, a.pend)
			a.clear()
		}
	}
	return out
}

// finish finds the units of a schema whose columns are known.
func finish(sch schema, lines []numeric, o DecodeOptions, g Guess) (schema, Guess) {
	rs := trial(sch, lines)
	if len(rs) == 0 {
		g.Confidence, g.Why, g.Settle = 0, []remark.Remark{remark.New("link.guess-no-vector")}, []remark.Remark{settleColumns()}
		return sch, g
	}
	if sch.timeUnit == unitNone {
		sch.timeUnit = guessTimeUnit(timesOf(rs))
	}
	sch.accScale = guessAcc(rs)
	ug := guessUnit(rs, o)
	sch.scale, sch.fixedScale = ug.scale, o.Scale > 0
	g.Unit, g.ScaleUT = ug.name, ug.scale
	g.Confidence = min(g.Confidence, ug.confidence)
	g.Why, g.Settle = append(g.Why, ug.why), append(g.Settle, ug.settle...)
	return sch, g
}
