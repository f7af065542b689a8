package picture

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/survey"
	"quietmount/survey/rank"
)

// pattern is how the places are marked where the module may not be mounted for one
// reason. Patterns lie over one another where there are several reasons, and differ in
// shape, so that neither grey nor small hides why. Places too near to a lead have no
// value at all: see nearLeads.
type pattern struct {
	kind, words string
	gap         float64                   // between its lines, points
	angle       float64                   // of its lines
	dashes      []vg.Length               // along them; none: marks
	mark        func(*draw.Pen, vg.Point) // a mark every gap; nil: lines
}

// patterns lists the reasons in the order of the key.
func patterns() []pattern {
	return []pattern{
		{kind: rank.KindCable, words: "not here: out of the cable's reach", gap: 9, dashes: []vg.Length{6, 4}},
		{kind: rank.KindBalance, words: "not here: the craft would be off balance", gap: 9, angle: math.Pi / 2},
		{kind: string(survey.ObstacleKeepout), words: "not here: the foot would reach into a keep-out", gap: 5, angle: math.Pi / 4},
		{kind: string(survey.ObstacleClearance), words: "not here: too near to a part with a clearance", gap: 7, mark: ringMark},
		{kind: rank.KindSaturated, words: "not here: the probe was at full scale", gap: 8, mark: strikeMark},
		{kind: string(survey.ObstacleOutline), words: "not here: the foot would stand over the edge", gap: 5, dashes: []vg.Length{1.2, 3.8}},
	}
}

func ringMark(p *draw.Pen, at vg.Point) {
	p.Ring(at, 1.7, draw.White, 1.8)
	p.Ring(at, 1.7, draw.Black, 0.7)
}

func strikeMark(p *draw.Pen, at vg.Point) {
	for _, d := range []vg.Point{{X: 2, Y: 2}, {X: 2, Y: -2}} {
		p.Edged([]vg.Point{at.Sub(d), at.Add(d)}, 1.8, 0.7, draw.Black)
	}
}

// strokes draws the lines of a pattern, light edges first.
func (t pattern) strokes(p *draw.Pen, runs [][]vg.Point) {
	p.Lines(runs, 1.7, draw.White, t.dashes...)
	p.Lines(runs, 0.7, draw.Black, t.dashes...)
}

// over draws the pattern over the places of a box that pass, and returns how many
// lines or marks that are.
func (t pattern) over(g *ground, box vg.Rectangle, passes func(r2.Vec) bool) int {
	if t.mark == nil {
		runs := g.hatching(box, t.gap, passes, t.angle)
		t.strokes(g.page.Pen, runs)
		return len(runs)
	}
	n, gap := 0, vg.Points(t.gap)
	for j, y := 0, box.Min.Y; y <= box.Max.Y; j, y = j+1, y+gap {
		for x := box.Min.X + gap/2*vg.Length(j%2); x <= box.Max.X; x += gap {
			if at := (vg.Point{X: x, Y: y}); passes(g.place(at)) {
				t.mark(g.page.Pen, at)
				n++
			}
		}
	}
	return n
}

// key explains the pattern.
func (t pattern) key() draw.Key {
	return draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
		box := draw.BoxAround(at, 10, 4.5)
		p.Fill(draw.Cividis(0.8), box)
		if t.mark == nil {
			var runs [][]vg.Point
			for _, s := range draw.Hatching(box, min(t.gap, 4.5), t.angle) {
				runs = append(runs, s[:])
			}
			t.strokes(p, runs)
			return
		}
		for _, dx := range []vg.Length{-6, 0, 6} {
			t.mark(p, at.Add(vg.Point{X: dx}))
		}
	}, Words: t.words}
}

// forbid marks where the module may not be mounted, and why.
func (m *mapping) forbid(box vg.Rectangle) {
	for _, t := range patterns() {
		n := t.over(&m.ground, box, func(p r2.Vec) bool {
			at := r2.Vec{X: p.Y, Y: p.X}
			return m.craft.Body.OutlineMM.Contains(at) && !m.tooNear(p) && m.mountable.Forbids(t.kind, at)
		})
		m.page.Picture.Note("%s: %d marks", t.words, n)
	}
}

// forbiddenKeys explains the patterns that the map has: those of constraints that
// forbid a node of its lattice within the outline.
func (m *mapping) forbiddenKeys() []draw.Key {
	var keys []draw.Key
	l := m.near
	for _, t := range patterns() {
		for k := range l.NX * l.NY {
			p := l.Place(k%l.NX, k/l.NX)
			if onCraft(m.craft, l, k) && m.mountable.Forbids(t.kind, r2.Vec{X: p.Y, Y: p.X}) {
				keys = append(keys, t.key())
				break
			}
		}
	}
	return keys
}
