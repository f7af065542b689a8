package draw

import (
	"math"

	"gonum.org/v1/plot/vg"

	"quietmount/report/say"
)

// Labels keeps names apart: it finds a name a place that nothing else has taken,
// and one across a line only if there is no other.
type Labels struct {
	Region  vg.Rectangle
	taken   []vg.Rectangle
	crossed []vg.Rectangle // along lines that a name may cross if it must
	Left    []string       // names without a place
}

// Take claims a box.
func (l *Labels) Take(low, high vg.Point) {
	l.taken = append(l.taken, vg.Rectangle{Min: low, Max: high})
}

// TakeAround claims a square around a point.
func (l *Labels) TakeAround(at vg.Point, radius float64) {
	r := vg.Points(radius)
	l.Take(at.Sub(vg.Point{X: r, Y: r}), at.Add(vg.Point{X: r, Y: r}))
}

// TakeAlong claims a strip along a route.
func (l *Labels) TakeAlong(route []vg.Point) { l.taken = append(l.taken, strip(route)...) }

// AvoidAlong makes names keep off a route where they can.
func (l *Labels) AvoidAlong(route []vg.Point) { l.crossed = append(l.crossed, strip(route)...) }

// strip returns a route as a row of small boxes.
func strip(route []vg.Point) []vg.Rectangle {
	var out []vg.Rectangle
	for i := 1; i < len(route); i++ {
		n := int(Distance(route[i-1], route[i])/4) + 1
		for k := range n + 1 {
			at := route[i-1].Add(route[i].Sub(route[i-1]).Scale(vg.Length(k) / vg.Length(n)))
			out = append(out, vg.Rectangle{Min: at.Sub(vg.Point{X: 2, Y: 2}), Max: at.Add(vg.Point{X: 2, Y: 2})})
		}
	}
	return out
}

// Free reports whether a box lies in the region and nothing has taken it.
func (l *Labels) Free(b vg.Rectangle) bool {
	inside := b.Min.X >= l.Region.Min.X && b.Min.Y >= l.Region.Min.Y && b.Max.X <= l.Region.Max.X && b.Max.Y <= l.Region.Max.Y
	return inside && !meets(b, l.taken)
}

// meets reports whether a box overlaps one of others.
func meets(b vg.Rectangle, others []vg.Rectangle) bool {
	for _, t := range others {
		if b.Min.X < t.Max.X && t.Min.X < b.Max.X && b.Min.Y < t.Max.Y && t.Min.Y < b.Max.Y {
			return true
		}
	}
	return false
}

// bearings are the directions to try, in this order, in half turns.
var bearings = [8]float64{0, 0.25, -0.25, 1, 0.75, -0.75, 0.5, -0.5}

// near finds a free box of a size beside a point and claims it. It tries the gaps
// of reach in order, first off all lines, then across them.
func (l *Labels) near(at vg.Point, width, height float64, reach ...float64) (vg.Rectangle, float64, bool) {
	for _, others := range [][]vg.Rectangle{l.crossed, nil} {
		if box, gap, ok := l.nearOff(others, at, width, height, reach); ok {
			return box, gap, true
		}
	}
	return vg.Rectangle{}, 0, false
}

func (l *Labels) nearOff(lines []vg.Rectangle, at vg.Point, width, height float64, reach []float64) (vg.Rectangle, float64, bool) {
	for _, gap := range reach {
		for _, b := range bearings {
			sin, cos := math.Sincos(b * math.Pi)
			c := at.Add(vg.Point{X: vg.Points(sign(cos)*width/2 + cos*gap), Y: vg.Points(sign(sin)*height/2 + sin*gap)})
			half := vg.Point{X: vg.Points(width / 2), Y: vg.Points(height / 2)}
			box := vg.Rectangle{Min: c.Sub(half), Max: c.Add(half)}
			if l.Free(box) && !meets(box, lines) {
				l.taken = append(l.taken, box)
				return box, gap, true
			}
		}
	}
	return vg.Rectangle{}, 0, false
}

func sign(v float64) float64 {
	switch {
	case v > 0.01:
		return 1
	case v < -0.01:
		return -1
	}
	return 0
}

// longestName is the largest width of a name in a picture, points.
const longestName = 110

// Label writes a name near a point, with a fine line to it if it had to move away,
// and reports whether it found a place.
func (g *Page) Label(at vg.Point, name string, st Style, reach ...float64) bool {
	name = g.Shortened(name, st.Size, st.Bold, longestName)
	width, height := g.Pen.Width(name, st.Size, st.Bold)+2, st.Size*capHeight+3
	box, gap, ok := g.Labels.near(at, width, height, reach...)
	if !ok {
		g.Labels.Left = append(g.Labels.Left, name)
		return false
	}
	middle := box.Min.Add(box.Max).Scale(0.5)
	if gap > reach[0]+6 {
		end := vg.Point{X: min(max(at.X, box.Min.X), box.Max.X), Y: min(max(at.Y, box.Min.Y), box.Max.Y)}
		g.Edged([]vg.Point{at, end}, 1.8, 0.5, Black)
	}
	st.Left, st.Low, st.Halo = 0.5, 0.5, max(st.Halo, 1.2)
	g.Text(middle, name, st)
	g.Picture.Note("label %s at %.0f, %.0f", name, middle.X.Points(), middle.Y.Points())
	return true
}

// LeftOut writes which names found no place, or how many if they are many.
func (g *Page) LeftOut() {
	names := g.Labels.Left
	if len(names) == 0 {
		return
	}
	words := "no room for the names of " + say.Listed(names)
	if len(names) > 5 {
		words = "no room for " + say.Counted(len(names), "name")
	}
	at := vg.Point{X: g.Frame.Region.Min.X, Y: g.Frame.Region.Max.Y - 10}
	most := float64(g.Frame.Region.Size().X)/2 - 20
	g.Text(at, g.Shortened(words, TextSize, false, most), Style{Size: TextSize, Ink: Grey})
	g.Picture.Note("%s", words)
}
