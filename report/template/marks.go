package template

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
)

// mark is a station as it is printed.
type mark struct {
	survey.Station
	paper       r2.Vec
	row, column int // of the tile that names it
	words       string
	size        float64 // points
	aside       bool    // its name goes to the other two corners, because another station is close
}

// The sizes of a station's name, points, and the room it may take.
const (
	nameLargest  = 10.0
	nameSmallest = 5.0
	nameRoomMM   = 58.0
)

// marks fits the name of every station into the room between stations.
func (d *drawing) marks() {
	all := d.c.Stations()
	room := min(nameRoomMM, nearestOf(all)-5)
	surface := d.c.Surface()
	for i, s := range all {
		m := mark{Station: s, paper: d.l.Paper(r2.Vec{X: s.At.X, Y: s.At.Y}), size: nameLargest}
		m.row, m.column = d.l.Owner(m.paper)
		name, whole := d.letters.Printable(s.Name)
		if !whole {
			name += fmt.Sprintf(" (%d)", i+1)
			d.lacking = true
		}
		if z := s.At.Z - surface.Z(s.At.X, s.At.Y); math.Abs(z) > 5 {
			name += " z " + say.Tenths(s.At.Z)
		}
		if w := d.width(name, words{size: nameLargest, bold: true}); w > room {
			m.size = max(nameSmallest, nameLargest*room/w)
		}
		for _, o := range d.stations {
			m.aside = m.aside || r2.Norm(r2.Sub(o.paper, m.paper)) < 8
		}
		cut := false
		m.words, cut = d.fitted(name, words{size: m.size, bold: true}, max(room, 12))
		if cut {
			d.cut = append(d.cut, fmt.Sprintf("%s at x %s, y %s", name, say.Tenths(s.At.X), say.Tenths(s.At.Y)))
		}
		d.stations = append(d.stations, m)
	}
}

// nearestOf returns the smallest distance between two stations, mm; a large one for a
// single station.
func nearestOf(all []survey.Station) float64 {
	least := 2 * nameRoomMM
	for i, s := range all {
		for _, o := range all[:i] {
			if d := math.Hypot(s.At.X-o.At.X, s.At.Y-o.At.Y); d > 1 {
				least = min(least, d)
			}
		}
	}
	return least
}

// drawMark draws a station: a cross with a ring and a tip on its forward arm, and its
// name twice, upright and upside down to be read from the nose.
func (s sheet) drawMark(m mark, named bool) {
	at := s.at(m.paper)
	const arm, ring = 6.0, 2.2
	s.pen(0.25, 0)
	s.line(r2.Add(at, r2.Vec{X: -arm}), r2.Add(at, r2.Vec{X: arm}))
	s.line(r2.Add(at, r2.Vec{Y: arm}), r2.Add(at, r2.Vec{Y: -arm}))
	tip := r2.Add(at, r2.Vec{Y: -arm - 1.5})
	s.fill(tip, r2.Add(tip, r2.Vec{X: -1, Y: 2.2}), r2.Add(tip, r2.Vec{X: 1, Y: 2.2}))
	s.pdf.Circle(at.X, at.Y, ring, "D")
	if !named {
		return
	}
	upright, turned := s.sides(m)
	s.stationName(r2.Add(at, r2.Vec{X: upright * 2.6, Y: 1.2 + m.size*pointMM*capHeight}), m, upright < 0, 0)
	s.stationName(r2.Add(at, r2.Vec{X: turned * 2.6, Y: -1.2 - m.size*pointMM*capHeight}), m, turned > 0, 180)
}

// stationName writes a name that ends or begins at a place.
func (s sheet) stationName(at r2.Vec, m mark, ends bool, turn float64) {
	w := words{size: m.size, bold: true, turn: turn}
	if ends {
		w.left = 1
	}
	s.text(at, m.words, w)
}

// sides returns the sides of the cross (1 right, -1 left) of a station's upright and
// upside-down name, changed where the page has no room.
func (s sheet) sides(m mark) (upright, turned float64) {
	upright, turned = 1, -1
	if m.aside {
		upright, turned = -1, 1
	}
	at, long := s.at(m.paper), s.width(m.words, words{size: m.size, bold: true})+3
	fits := func(side float64) bool {
		end := at.X + side*long
		return end > s.area.Min.X+1 && end < s.area.Max.X-1
	}
	if !fits(upright) && fits(-upright) {
		upright = -upright
	}
	if !fits(turned) && fits(-turned) {
		turned = -turned
	}
	return upright, turned
}

// landmarks draws everything on the craft that helps to align the paper.
func (s sheet) landmarks(names bool) {
	c := s.c
	s.pen(0.7, 0)
	s.lines(s.places(c.Body.OutlineMM), true)
	for _, k := range c.Keepouts {
		s.pen(0.35, 60, 3, 2)
		s.lines(s.places(k.OutlineMM), true)
		b := k.OutlineMM.Bounds()
		s.name(s.craft((b.Min.X+b.Max.X)/2, (b.Min.Y+b.Max.Y)/2), "keep out: "+k.Name, names)
	}
	for _, p := range c.Parts {
		s.part(p, names)
	}
	if c.Cable != nil {
		route := append([]r2.Vec{c.Cable.FromMM}, c.Cable.ViaMM...)
		s.pen(0.3, 90, 0.5, 1.5)
		s.lines(s.places(route), false)
		s.name(s.craft(c.Cable.FromMM.X, c.Cable.FromMM.Y), "cable starts", names)
	}
	s.datum(names)
	s.base(names)
}

// places returns the places on the page of places on the craft.
func (s sheet) places(points []r2.Vec) []r2.Vec {
	out := make([]r2.Vec, len(points))
	for i, p := range points {
		out[i] = s.craft(p.X, p.Y)
	}
	return out
}

// name writes a landmark's name near it where nothing else is.
func (s sheet) name(at r2.Vec, what string, names bool) {
	if !names || !holds(s.area, at) {
		return
	}
	w := words{size: 7, grey: 60, left: 0.5, low: 0.5}
	printed, _ := s.letters.Printable(what)
	half := r2.Vec{X: s.width(printed, w)/2 + 0.5, Y: 1.6}
	for _, by := range []r2.Vec{
		{Y: 5}, {Y: -5}, {X: 4 + half.X}, {X: -4 - half.X}, {Y: 9}, {Y: -9},
		{X: 9 + half.X, Y: 5}, {X: -9 - half.X, Y: 5}, {X: 9 + half.X, Y: -6}, {X: -9 - half.X, Y: -6}, {Y: 13}, {Y: -13}, {Y: 18}, {Y: -18},
	} {
		middle := r2.Add(at, by)
		box := r2.Box{Min: r2.Sub(middle, half), Max: r2.Add(middle, half)}
		if !s.taken.free(box) || !holds(s.area, box.Min) || !holds(s.area, box.Max) {
			continue
		}
		s.taken.boxes = append(s.taken.boxes, box)
		s.text(middle, what, w)
		return
	}
	// There is no room: a name over another is better than none.
	at.X = min(max(at.X, s.area.Min.X+half.X), max(s.area.Max.X-half.X, s.area.Min.X+half.X))
	s.text(r2.Add(at, r2.Vec{Y: 5}), what, w)
}

// holds reports whether a box contains a place.
func holds(b r2.Box, p r2.Vec) bool {
	return p.X >= b.Min.X && p.X <= b.Max.X && p.Y >= b.Min.Y && p.Y <= b.Max.Y
}

// taken holds the boxes of names and marks on a page.
type taken struct{ boxes []r2.Box }

func (t *taken) free(b r2.Box) bool {
	for _, o := range t.boxes {
		if b.Min.X < o.Max.X && o.Min.X < b.Max.X && b.Min.Y < o.Max.Y && o.Min.Y < b.Max.Y {
			return false
		}
	}
	return true
}

// take claims a station's cross and names.
func (s sheet) take(m mark) {
	at := s.at(m.paper)
	long, tall := s.width(m.words, words{size: m.size, bold: true})+3, 2+m.size*pointMM
	upright, turned := s.sides(m)
	a, b := r2.Vec{X: at.X + upright*long}, r2.Vec{X: at.X + turned*long}
	s.taken.boxes = append(s.taken.boxes,
		r2.Box{Min: r2.Sub(at, r2.Vec{X: 6, Y: 7}), Max: r2.Add(at, r2.Vec{X: 6, Y: 6})},
		r2.Box{Min: r2.Vec{X: min(at.X, a.X), Y: at.Y}, Max: r2.Vec{X: max(at.X, a.X), Y: at.Y + tall}},
		r2.Box{Min: r2.Vec{X: min(at.X, b.X), Y: at.Y - tall}, Max: r2.Vec{X: max(at.X, b.X), Y: at.Y}})
}

// part draws a part or lead.
func (s sheet) part(p survey.Part, names bool) {
	if p.AtMM != nil {
		at := s.craft(p.AtMM.X, p.AtMM.Y)
		s.pen(0.35, 60)
		half := 2.2 * max(s.scale, 0.4)
		corners := []r2.Vec{{X: -half}, {Y: -half}, {X: half}, {Y: half}}
		if !p.Magnetic {
			corners = []r2.Vec{{X: -half, Y: -half}, {X: half, Y: -half}, {X: half, Y: half}, {X: -half, Y: half}}
		}
		for i := range corners {
			corners[i] = r2.Add(at, corners[i])
		}
		s.lines(corners, true)
		s.name(at, p.Name, names)
	}
	for _, path := range [][]r2.Vec{draw.Flats(p.PathMM), draw.Flats(p.ReturnPathMM)} {
		s.pen(0.45, 110, 6, 1.5)
		s.lines(s.places(path), false)
	}
	if n := len(p.PathMM); n > 1 {
		a, b := p.PathMM[0], p.PathMM[1]
		s.name(s.craft((a.X+b.X)/2, (a.Y+b.Y)/2), p.Name, names)
	}
}

// datum draws the mark of the datum.
func (s sheet) datum(names bool) {
	at := s.craft(0, 0)
	k := max(s.scale, 0.4)
	s.pen(0.4, 0)
	s.pdf.Circle(at.X, at.Y, 3.6*k, "D")
	s.fill(at, r2.Add(at, r2.Vec{X: 2.5 * k}), r2.Add(at, r2.Vec{X: 2.5 * k, Y: -2.5 * k}), r2.Add(at, r2.Vec{Y: -2.5 * k}))
	s.fill(at, r2.Add(at, r2.Vec{X: -2.5 * k}), r2.Add(at, r2.Vec{X: -2.5 * k, Y: 2.5 * k}), r2.Add(at, r2.Vec{Y: 2.5 * k}))
	if names {
		s.name(at, "DATUM", true)
	}
}

// base draws an arrow at the rim of the paper that points to the base station.
func (s sheet) base(names bool) {
	b := s.c.Base
	if b == nil {
		return
	}
	to := s.l.Paper(r2.Vec{X: b.At.X, Y: b.At.Y})
	middle := r2.Scale(0.5, r2.Add(s.l.min, s.l.max))
	way := r2.Sub(to, middle)
	far := r2.Norm(way)
	if far == 0 {
		return
	}
	unit := r2.Scale(1/far, way)
	// From the middle to just inside the rim, or to the base if that is nearer.
	half := r2.Sub(r2.Scale(0.5, r2.Sub(s.l.max, s.l.min)), r2.Vec{X: 4, Y: 4})
	reach := far
	if unit.X != 0 {
		reach = min(reach, half.X/math.Abs(unit.X))
	}
	if unit.Y != 0 {
		reach = min(reach, half.Y/math.Abs(unit.Y))
	}
	end := r2.Add(middle, r2.Scale(reach, unit))
	start := r2.Sub(end, r2.Scale(9, unit))
	s.pen(0.5, 0)
	s.arrow(s.at(start), s.at(end), 3)
	if names && holds(s.area, s.at(end)) {
		on := fmt.Sprintf("to base %s, %.0f mm on", b.Name, far-reach)
		at := s.at(start)
		shift := r2.Vec{X: 3, Y: 1}
		left := 0.0
		if at.X > (s.area.Min.X+s.area.Max.X)/2 {
			shift, left = r2.Vec{X: -3, Y: 1}, 1
		}
		s.text(r2.Add(at, shift), on, words{size: 8, bold: true, left: left, low: 0.5})
	}
}
