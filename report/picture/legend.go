package picture

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// head returns the lines under the title: what the map is based on.
func (m *mapping) head() []string {
	lines := []string{m.basis() + " " + m.runs()}
	if m.q.at == nil {
		return append(lines, m.q.limitWords)
	}
	second := ""
	if m.q.assumed != "" {
		second = "Interpolated: " + m.q.assumed + "."
	}
	if m.q.part == PartShifting {
		second += " Heading error for " + say.Attitudes(m.craft.Limits) + fmt.Sprintf("; horizontal reference field %.1f µT.", m.f.HUT)
	}
	if e := m.crossCheck(); e != "" {
		second += " " + e
	}
	return append(lines, strings.TrimSpace(second))
}

// basis states what was measured for the map.
func (m *mapping) basis() string {
	if m.q.part == PartSteady && m.f.Basis == evaluate.BasisMagnitude {
		return "No background was measured: based on magnitudes, which are less certain."
	}
	switch m.q.part {
	case PartSteady:
		return "Vectors against the measured background."
	case PartMagnitude:
		return "Magnitudes only."
	}
	return "Vectors, load on minus load off, at maximum currents" + m.factor() + "."
}

// factor states by how much currents were scaled up, if they were.
func (m *mapping) factor() string {
	if m.f.Factor > 1.005 {
		return fmt.Sprintf(" (scaled by up to %.1f)", m.f.Factor)
	}
	return ""
}

// runs lists the runs that the map is based on.
func (m *mapping) runs() string {
	n := make([]string, len(m.f.Runs))
	for i, r := range m.f.Runs {
		n[i] = fmt.Sprint(r.Header.Run)
	}
	if len(n) == 0 {
		return ""
	}
	return say.YesNo(len(n) == 1, "Run ", "Runs ") + say.Listed(n) + "."
}

// crossCheck states how well each station is predicted from the others.
func (m *mapping) crossCheck() string {
	part := m.q.part
	if part != PartSteady {
		part = PartShifting
	}
	l, ok := m.f.LeftOut[part]
	if !ok || math.IsNaN(l.RMSEUT) {
		return ""
	}
	return fmt.Sprintf("Each station predicted from the others: error %.2f µT a component (rms), %.0f %% inside the 95 %% intervals.", l.RMSEUT, 100*l.Inside95Fraction)
}

// words returns the text alternative.
func (m *mapping) words() string {
	s := fmt.Sprintf("Map of the craft seen from above, nose up, showing the %s in %s. %d stations.", m.q.title, m.q.unit, len(m.f.Stations))
	if len(m.spots) > 0 {
		b := m.spots[0]
		s += fmt.Sprintf(" The first of %s is at x %.0f, y %.0f mm.", say.Counted(len(m.spots), "ranked spot"), b.At.X, b.At.Y)
	}
	return s
}

// keys returns the legend of the map.
func (m *mapping) keys() []draw.Key {
	keys := []draw.Key{draw.StationKey("station: measured here, interpolated elsewhere")}
	if m.q.at == nil {
		keys[0] = draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Disc(at, 4.5, draw.Cividis(0.6), draw.Black, 0.9) }, Words: "station with its value, µT"}
	}
	if k := m.unmeasured(); k > 0 {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
			p.Disc(at, 2.6, draw.White, draw.Black, 0.9)
			p.Line([]vg.Point{at.Add(vg.Point{X: -1.8, Y: -1.8}), at.Add(vg.Point{X: 1.8, Y: 1.8})}, 0.9, draw.Black)
		}, Words: fmt.Sprintf("station without this part, %d of them", k)})
	}
	if len(m.spots) > 0 {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { spotMark(p, at, "1", false) }, Words: "ranked spots, 1 the quietest: middle of the module's foot"})
		if k := slices.IndexFunc(m.spots, func(s rank.Spot) bool { return !m.hasHeight(s) }); k >= 0 {
			keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { otherHeightMark(p, at, fmt.Sprint(m.spots[k].Rank)) }, Words: "spot at another height than the map's"})
		}
		if slices.ContainsFunc(m.spots, func(s rank.Spot) bool { return s.PlacementToleranceMM > 0 && m.hasHeight(s) }) {
			keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { toleranceRing(p, at, 5) }, Words: "placement tolerance of a spot"})
		}
	}
	if m.q.limit > 0 && m.q.at != nil {
		keys = append(keys, limitKey(m.q, m.shown))
	}
	if m.q.at != nil {
		keys = append(keys, m.heat.keys(m.q)...)
		keys = append(keys, m.forbiddenKeys()...)
	}
	if len(m.craft.Keepouts) > 0 {
		keys = append(keys, draw.KeepoutKey("keep-out"))
	}
	keys = append(keys, draw.ThingKeys(m.craft)...)
	if m.craft.Base != nil {
		keys = append(keys, draw.Key{Draw: nil, Words: draw.BaseWords(m.craft)})
	}
	return append(keys, draw.LackingKey(m.craft)...)
}

// limitKey explains the line at the limit, or that there is none because all the
// values shown, sorted, lie on one side of it.
func limitKey(q quantity, shown []float64) draw.Key {
	n := len(shown)
	switch {
	case n > 0 && shown[0] > q.limit:
		return draw.Key{Draw: nil, Words: "over the " + q.limitWords + " everywhere: there is no line for it"}
	case n > 0 && shown[n-1] < q.limit:
		return draw.Key{Draw: nil, Words: "under the " + q.limitWords + " everywhere: there is no line for it"}
	}
	return draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Line(draw.Level(at, 11), 2.2, draw.Black) }, Words: q.limitWords + ": quieter on the light side"}
}

// keys explains the hatches and the darkest colour of the ground.
func (h *heat) keys(q quantity) []draw.Key {
	keys := []draw.Key{h.doubtKey(q)}
	if h.anywhere {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Fill(draw.Cividis(0), draw.BoxAround(at, 10, 4.5)) }, Words: "darkest: 90 degrees and more, where the compass can point anywhere"})
	}
	if h.nears {
		keys = append(keys, nearKey())
	}
	return keys
}

// nearKey explains the zones too near to a lead.
func nearKey() draw.Key {
	return draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
		box := draw.BoxAround(at, 10, 4.5)
		p.Fill(draw.White, box)
		for _, angle := range []float64{math.Pi / 4, -math.Pi / 4} {
			for _, s := range draw.Hatching(box, 3.5, angle) {
				p.Line(s[:], 0.4, draw.Grey)
			}
		}
		p.Loop(box, 0.7, draw.Black)
	}, Words: fmt.Sprintf("no value: the sensor would be within %d mm of a lead's conductors, or between them", rank.LeadReachMM)}
}

// doubtKey explains the hatch of doubtful places.
func (h *heat) doubtKey(q quantity) draw.Key {
	rule := fmt.Sprintf("over %g times the value shown and over %s %s", q.ratio, say.Tenths(q.doubt), q.unit)
	if !h.doubts {
		return draw.Key{Draw: nil, Words: "nowhere doubtful: the 95 % bound is not " + rule}
	}
	return draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
		box := draw.BoxAround(at, 10, 4.5)
		p.Fill(draw.Cividis(0.55), box)
		p.Hatched(box, 5, -draw.QuarterTurn/2, draw.Black)
	}, Words: "doubtful: the 95 % bound is " + rule}
}

// unmeasured counts the stations where the part was not measured.
func (m *mapping) unmeasured() int {
	n := 0
	for _, s := range m.f.Stations {
		if math.IsNaN(m.q.station(s)) {
			n++
		}
	}
	return n
}
