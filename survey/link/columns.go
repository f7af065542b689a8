package link

import (
	"bytes"
	"fmt"
	"math"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// parseHeader returns the columns that a header names, nil if the line is none:
// at least three names separated by commas, semicolons, tabs or spaces, x, y and
// z among them, possibly after a comment sign or "CSV format:".
func parseHeader(line []byte) []Column {
	line = bytes.TrimLeft(line, "#%/ \t")
	if i := bytes.LastIndexByte(line, ':'); i >= 0 {
		line = trim(line[i+1:])
	}
	sep := byte(' ')
	for _, c := range []byte{',', ';', '\t'} {
		if bytes.Count(line, []byte{c}) >= 2 {
			sep = c
			break
		}
	}
	if bytes.Count(line, []byte{sep}) < 2 {
		return nil
	}
	var out []Column
	axes := uint32(0)
	for name := range bytes.SplitSeq(line, []byte{sep}) {
		name = trim(name)
		if len(name) == 0 && sep == ' ' {
			continue
		}
		c, ok := headerColumn(name)
		if !ok || len(out) == maxFields {
			return nil
		}
		out = append(out, c)
		if c.role <= roleZ {
			axes |= 1 << c.role
		}
	}
	return settleHeader(out, axes)
}

// headerColumn reads one name, with its unit in brackets or after '_'.
func headerColumn(name []byte) (Column, bool) {
	name = bytes.Trim(name, "\"'")
	u := unitNone
	if i := bytes.IndexAny(name, "[("); i > 0 {
		u = parseUnit(bytes.Trim(name[i:], "[]() "))
		name = trim(name[:i])
	}
	if len(name) == 0 || len(name) > 24 || !isLetter(name[0]) || bytes.ContainsAny(name, " =:") {
		return Column{}, false
	}
	r, own := parseLabel(name)
	if u == unitNone {
		u = own
	}
	return Column{role: r, unit: u, name: string(name)}, true
}

// settleHeader makes plain x, y, z the field if no other columns are.
func settleHeader(cs []Column, axes uint32) []Column {
	for i := range cs {
		if k := cs[i].role; k >= roleBareX && k <= roleBareZ && axes&magMask == 0 {
			cs[i].role = roleX + k - roleBareX
		}
	}
	all := uint32(0)
	for i := range cs {
		k := cs[i].role
		if k >= roleGyro || all&(1<<k) != 0 {
			cs[i].role = roleNone
			continue
		}
		if k != roleNone {
			all |= 1 << k
		}
	}
	if all&magMask != magMask {
		return nil
	}
	return cs
}

// table is the numbers of lines that have the same count of them.
type table struct {
	rows [][]float64
	ts   []float64
}

func (t table) column(i int) []float64 {
	out := make([]float64, len(t.rows))
	for r := range t.rows {
		out[r] = t.rows[r][i]
	}
	return out
}

func (t table) norm(r, i int) float64 {
	v := t.rows[r]
	return math.Sqrt(v[i]*v[i] + v[i+1]*v[i+1] + v[i+2]*v[i+2])
}

// tabulate returns the good lines with count numbers, and the words that most of
// them have.
func tabulate(lines []numeric, count int) (t table, words int) {
	for i := range lines {
		sc := &lines[i].sc
		if sc.n != count {
			continue
		}
		row, good := make([]float64, count), true
		for j := range count {
			f := sc.fields[j]
			row[j], good = f.value, good && !f.bad && !f.glued
		}
		if good {
			t.rows, t.ts = append(t.rows, row), append(t.ts, lines[i].ts)
			words = sc.labels + sc.words
		}
	}
	return t, words
}

// detectColumns decides what the numbers of unlabelled lines are.
func detectColumns(lines []numeric, count int, header []Column, o DecodeOptions) (schema, Guess) {
	t, words := tabulate(lines, count)
	g := Guess{Shape: fmt.Sprintf("%d numbers a line", count)}
	if len(t.rows) == 0 {
		g.Why, g.Settle = []remark.Remark{remark.New("link.guess-unreadable")}, []remark.Remark{settleColumns()}
		return schema{}, g
	}
	sch := schema{labels: words}
	if len(header) == count {
		sch.columns = columnsOf(splitColumns(header))
		g.Confidence, g.Why = 0.95, []remark.Remark{remark.New("link.guess-header")}
	} else {
		rg := guessRoles(t, count)
		g.Confidence, g.Why = rg.confidence, []remark.Remark{rg.why}
		if !rg.settled {
			g.Settle = []remark.Remark{settleColumns(rg.likely...)}
		}
		if g.Confidence < minConfidence {
			return sch, g
		}
		sch.columns = columnsOf(rg.roles, make([]unit, count))
	}
	g.Columns = sch.columns.String()
	sch.timeUnit = columnUnit(sch.columns, roleT)
	return finish(sch, lines, o, g)
}

func splitColumns(cs []Column) ([]role, []unit) {
	roles, units := make([]role, len(cs)), make([]unit, len(cs))
	for i, c := range cs {
		roles[i], units[i] = c.role, c.unit
	}
	return roles, units
}

// place returns roles with x, y, z at column b and, with a >= 0, the acceleration
// at a.
func place(count, b, a int) []role {
	out := make([]role, count)
	for i := range 3 {
		out[b+i] = roleX + role(i)
		if a >= 0 {
			out[a+i] = roleAX + role(i)
		}
	}
	return out
}

// roleGuess is the likely roles of the columns.
type roleGuess struct {
	roles      []role
	confidence float64
	why        remark.Remark
	settled    bool     // nothing is open
	likely     []string // else: orders of columns that may be meant
}

// guessRoles guesses the roles from the count of numbers and their values.
func guessRoles(t table, count int) roleGuess {
	timed := runsForward(t.column(0))
	switch {
	case count == 3:
		return guessThree(t)
	case count == 4 || count == 5 && timed:
		return guessFour(t, count, timed)
	case count == 9:
		return roleGuess{roles: place(9, 6, 0), confidence: 0.7, why: remark.New("link.guess-nine"), likely: []string{"ax,ay,az,-,-,-,x,y,z"}}
	case count == 10 && timed:
		roles := place(10, 7, 1)
		roles[0] = roleT
		return roleGuess{roles: roles, confidence: 0.7, why: remark.New("link.guess-time-nine"), likely: []string{"t,ax,ay,az,-,-,-,x,y,z"}}
	case count == 6:
		return roleGuess{why: remark.New("link.guess-six"), likely: []string{"ax,ay,az,x,y,z", "x,y,z,-,-,-"}}
	case count == 7 && timed:
		return roleGuess{why: remark.New("link.guess-time-six"), likely: []string{"t,ax,ay,az,x,y,z", "t,x,y,z,-,-,-"}}
	}
	return roleGuess{why: remark.New("link.guess-many", remark.Values{"numbers": count})}
}

// guessThree takes three numbers for x, y, z unless they look like magnitude
// and two angles.
func guessThree(t table) roleGuess {
	first := t.column(0)
	lo, hi := bounds(first)
	lo1, hi1 := bounds(t.column(1))
	lo2, hi2 := bounds(t.column(2))
	steady := lo > 0 && hi-lo < 0.05*hi
	turned := hi1-lo1 > 0.3 || hi2-lo2 > 0.3
	small := max(math.Abs(lo1), hi1) <= 2*math.Pi && lo2 >= -math.Pi && hi2 <= math.Pi && lo > 20
	degrees := lo1 >= -180 && hi1 <= 360 && lo2 >= -90 && hi2 <= 180
	if steady && (small || degrees && turned && !steadyNorm(t, 0)) {
		return roleGuess{confidence: 0.3, why: remark.New("link.guess-angles"), likely: []string{"x,y,z"}}
	}
	if runsForward(first) && regular(first) {
		return roleGuess{confidence: 0.3, why: remark.New("link.guess-time-two")}
	}
	return roleGuess{roles: place(3, 0, -1), confidence: 0.9, why: remark.New("link.guess-three"), settled: true}
}

// guessFour distinguishes t,x,y,z from x,y,z and another number.
func guessFour(t table, count int, timed bool) roleGuess {
	xyz := place(count, 0, -1)
	txyz := place(count, 1, -1)
	txyz[0] = roleT
	named := func(roles []role) []string { return []string{columnsOf(roles, make([]unit, count)).String()} }
	switch {
	case timed && regular(t.column(0)):
		return roleGuess{roles: txyz, confidence: 0.9, why: remark.New("link.guess-time"), settled: true}
	case isNorm(t, 3):
		return roleGuess{roles: xyz, confidence: 0.95, why: remark.New("link.guess-magnitude"), settled: true}
	case timed:
		return roleGuess{roles: txyz, confidence: 0.6, why: remark.New("link.guess-forward"), likely: named(txyz)}
	case isIndex(t.column(0)):
		txyz[0] = roleID
		return roleGuess{roles: txyz, confidence: 0.7, why: remark.New("link.guess-sensors"), likely: named(txyz)}
	case isHeading(t, 3):
		return roleGuess{roles: xyz, confidence: 0.9, why: remark.New("link.guess-heading"), settled: true}
	case usualNorm(t, 0):
		return roleGuess{roles: xyz, confidence: 0.7, why: remark.New("link.guess-usual"), likely: []string{"x,y,z,-"}}
	case steadyNorm(t, 0) && !steadyNorm(t, 1):
		return roleGuess{roles: xyz, confidence: 0.6, why: remark.New("link.guess-steady"), likely: []string{"x,y,z,-"}}
	}
	return roleGuess{why: remark.New("link.guess-four"), likely: []string{"t,x,y,z", "x,y,z,-"}}
}

func bounds(v []float64) (lo, hi float64) {
	lo, hi = v[0], v[0]
	for _, x := range v {
		lo, hi = min(lo, x), max(hi, x)
	}
	return lo, hi
}

// runsForward reports whether the numbers never go back (but for one restart or
// wrap) and mostly go forward.
func runsForward(v []float64) bool {
	up, down := 0, 0
	for i := 1; i < len(v); i++ {
		switch {
		case v[i] > v[i-1]:
			up++
		case v[i] < v[i-1]:
			down++
		}
	}
	return len(v) >= 3 && down <= 1 && down*8 <= up && up*10 >= 7*(len(v)-1)
}

// regular reports whether the steps are equal, as those of a clock.
func regular(v []float64) bool {
	if len(v) < 5 {
		return false
	}
	steps := make([]float64, 0, len(v))
	for i := 1; i < len(v); i++ {
		if d := v[i] - v[i-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	m := magmath.Median(steps)
	alike := 0
	for _, s := range steps {
		if s > 0.5*m && s < 2*m {
			alike++
		}
	}
	return alike*10 >= 8*len(steps)
}

// isNorm reports whether column i is the magnitude of the three before, to a
// hundredth or to the printed digits.
func isNorm(t table, i int) bool {
	fits := 0
	for r, row := range t.rows {
		n := t.norm(r, i-3)
		if n > 0 && math.Abs(row[i]-n) <= max(0.01*n, 0.011) {
			fits++
		}
	}
	return fits*10 >= 9*len(t.rows) && fits > 0
}

// isHeading reports whether column i is the direction of the first two columns, in
// either sense: exactly, or up to a constant if it turned far enough to tell.
func isHeading(t table, i int) bool {
	lo, hi := bounds(t.column(i))
	if lo < -180 || hi > 360 || len(t.rows) < 3 {
		return false
	}
	for _, sense := range []float64{1, -1} {
		var sin, cos float64
		for _, row := range t.rows {
			s, c := math.Sincos(row[i]*math.Pi/180 - sense*math.Atan2(row[1], row[0]))
			sin, cos = sin+s, cos+c
		}
		spread := 1 - math.Hypot(sin, cos)/float64(len(t.rows))
		same := math.Abs(math.Atan2(sin, cos)) < 0.01
		if spread < 1e-4 && (same || hi-lo > 10) {
			return true
		}
	}
	return false
}

// usualNorm reports whether three columns from i mostly have the magnitude of the
// geomagnetic field in one of the units.
func usualNorm(t table, i int) bool {
	for _, u := range fieldUnits {
		n := 0
		for r := range t.rows {
			if ut := t.norm(r, i) * u.microtesla(); ut >= lowUT && ut <= highUT {
				n++
			}
		}
		if n*10 >= 6*len(t.rows) {
			return true
		}
	}
	return false
}

// isIndex reports whether the numbers are few different small integers.
func isIndex(v []float64) bool {
	seen := map[float64]bool{}
	for _, x := range v {
		if x != math.Trunc(x) || x < 0 || x > 15 {
			return false
		}
		seen[x] = true
	}
	return len(seen) <= 8 && len(v) >= 2*len(seen)
}

// steadyNorm reports whether the magnitude of three columns from i varies by less
// than a twentieth.
func steadyNorm(t table, i int) bool {
	norms := make([]float64, len(t.rows))
	for r := range t.rows {
		norms[r] = t.norm(r, i)
	}
	lo, hi := bounds(norms)
	return hi > 0 && hi-lo < 0.05*hi
}
