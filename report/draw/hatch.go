package draw

import (
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

// Hatched draws slanted lines over an area, gap points apart, each with a white
// edge so that it shows on any ground.
func (p *Pen) Hatched(area []vg.Point, gap, angle float64, ink color.Color) {
	for _, s := range Hatching(area, gap, angle) {
		p.Line(s[:], 1.8, White)
	}
	for _, s := range Hatching(area, gap, angle) {
		p.Line(s[:], 0.6, ink)
	}
}

// Hatching returns the pieces of parallel lines inside a polygon by the even-odd
// rule. The lines are fixed to the page, not to the polygon, so that neighbouring
// areas match.
func Hatching(area []vg.Point, gap, angle float64) [][2]vg.Point {
	sin, cos := math.Sincos(angle)
	along := vg.Point{X: vg.Length(cos), Y: vg.Length(sin)}
	across := vg.Point{X: vg.Length(-sin), Y: vg.Length(cos)}
	if len(area) < 3 {
		return nil
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, q := range area {
		d := float64(q.Dot(across))
		low, high = min(low, d), max(high, d)
	}
	var out [][2]vg.Point
	for n := math.Ceil(low / gap); n*gap <= high; n++ {
		d := n * gap
		var cuts []float64
		for i, a := range area {
			b := area[(i+1)%len(area)]
			da, db := float64(a.Dot(across))-d, float64(b.Dot(across))-d
			if (da < 0) != (db < 0) {
				t := vg.Length(da / (da - db))
				cuts = append(cuts, float64(a.Add(b.Sub(a).Scale(t)).Dot(along)))
			}
		}
		slices.Sort(cuts)
		for i := 0; i+1 < len(cuts); i += 2 {
			on := func(t float64) vg.Point { return along.Scale(vg.Length(t)).Add(across.Scale(vg.Length(d))) }
			out = append(out, [2]vg.Point{on(cuts[i]), on(cuts[i+1])})
		}
	}
	return out
}
