package survey

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// MarkKind distinguishes what on a craft a builder can measure from.
type MarkKind string

// The kinds of mark, those that fix a place best first.
const (
	MarkStation    MarkKind = "station"     // its cross on the station template
	MarkCorner     MarkKind = "corner"      // of the outline
	MarkFront      MarkKind = "front edge"  // of the outline, straight ahead of the place
	MarkRear       MarkKind = "rear edge"   // straight behind it
	MarkLeft       MarkKind = "left edge"   // straight to its left
	MarkRight      MarkKind = "right edge"  // straight to its right
	MarkCentreLine MarkKind = "centre line" // y = 0 of an outline that lies as far to its left as to its right
	MarkDatum      MarkKind = "datum"
)

// FromMark is where a place lies from a mark, in the plane of the craft's x and y
// and whole millimetres. An edge and the centre line fix one of the two directions;
// the other is nil.
type FromMark struct {
	Kind    MarkKind `json:"kind"`
	Station string   `json:"station,omitempty"` // its name
	At      r2.Vec   `json:"-"`                 // the mark, mm in the craft frame; of a line, the point that the place is measured from
	AheadMM *float64 `json:"ahead_mm"`          // negative: behind
	RightMM *float64 `json:"right_mm"`          // negative: left
}

// markReachMM is how far a mark may lie from a place to be measured from: the length
// of a pocket rule (common practice, no source). Where stations lie farther apart
// than that, it is their spacing.
const markReachMM = 150

// cornerTurn is the cosine of the least turn of the outline at a corner, 30 degrees: a
// point of a rounded outline turns by less and nobody finds it on the craft.
const cornerTurn = 0.8660254037844386

// FromMarks returns where a place of the craft (x, y, millimetres in the craft frame)
// lies from one or two marks, as a builder measures it: from the two nearest
// stations within reach; where there are fewer, from the nearest corner of the
// outline, the edge ahead or behind, the centre line or the edge at the side, at last
// the datum. The first mark, or the first two if it is a line, fix the place; one more
// is there to check. Equal distances go to the station that comes first in the craft
// file. at must be finite.
func (c *Craft) FromMarks(at r2.Vec) []FromMark {
	reach := float64(markReachMM)
	if c.Grid != nil {
		reach = max(reach, c.Grid.SpacingMM)
	}
	var stations []FromMark
	for _, s := range c.Stations() {
		stations = append(stations, FromMark{Kind: MarkStation, Station: s.Name, At: r2.Vec{X: s.At.X, Y: s.At.Y}})
	}
	out := nearestMarks(stations, at, reach, 2)
	if n := len(out); n < 2 {
		out = append(out, nearestMarks(c.corners(), at, reach, 2-n)...)
	}
	for i, m := range out {
		out[i].AheadMM, out[i].RightMM = wholeMM(at.X-m.At.X), wholeMM(at.Y-m.At.Y)
	}
	if n := len(out); n < 2 {
		lines := c.lineMarks(at)
		out = append(out, lines[:min(2-n, len(lines))]...)
	}
	fixed := func(of func(FromMark) *float64) bool {
		return slices.ContainsFunc(out, func(m FromMark) bool { return of(m) != nil })
	}
	if !fixed(func(m FromMark) *float64 { return m.AheadMM }) || !fixed(func(m FromMark) *float64 { return m.RightMM }) {
		return []FromMark{{Kind: MarkDatum, AheadMM: wholeMM(at.X), RightMM: wholeMM(at.Y)}}
	}
	return out
}

// wholeMM rounds to a millimetre; zero has no sign.
func wholeMM(v float64) *float64 { return new(math.Round(v) + 0) }

// nearestMarks returns the marks nearest to a place, at most a number of them, none
// farther than reach and no two at one place.
func nearestMarks(all []FromMark, at r2.Vec, reach float64, most int) []FromMark {
	// To a hundredth of a millimetre, so that rounding does not decide between equals.
	distance := func(m FromMark) float64 { return math.Round(100*r2.Norm(r2.Sub(m.At, at))) / 100 }
	slices.SortStableFunc(all, func(a, b FromMark) int { return cmp.Compare(distance(a), distance(b)) })
	var out []FromMark
	for _, m := range all {
		twice := slices.ContainsFunc(out, func(o FromMark) bool { return r2.Norm(r2.Sub(o.At, m.At)) < PlaceSlackMM })
		if len(out) == most || distance(m) > reach {
			break
		}
		if !twice {
			out = append(out, m)
		}
	}
	return out
}

// corners returns the points of the outline at which it turns by 30 degrees or more.
func (c *Craft) corners() []FromMark {
	p := c.Body.OutlineMM
	var out []FromMark
	for i, at := range p {
		in, on := r2.Sub(at, p[(i+len(p)-1)%len(p)]), r2.Sub(p[(i+1)%len(p)], at)
		if r2.Dot(in, on) <= cornerTurn*r2.Norm(in)*r2.Norm(on) {
			out = append(out, FromMark{Kind: MarkCorner, At: at})
		}
	}
	return out
}

// lineMarks returns the nearer of the edges ahead and behind, then the centre line
// or the nearer of the edges left and right, as far as there are any.
func (c *Craft) lineMarks(at r2.Vec) []FromMark {
	p := c.Body.OutlineMM
	var out []FromMark
	if kind, run, toward := nearerEdge(p.EdgeToward, at, r2.Vec{X: 1}, MarkFront, MarkRear); !math.IsInf(run, 1) {
		out = append(out, FromMark{Kind: kind, At: r2.Add(at, r2.Scale(run, toward)), AheadMM: wholeMM(-run * toward.X)})
	}
	if box := p.Bounds(); len(p) > 0 && math.Abs(box.Min.Y+box.Max.Y) < PlaceSlackMM {
		return append(out, FromMark{Kind: MarkCentreLine, At: r2.Vec{X: at.X}, RightMM: wholeMM(at.Y)})
	}
	if kind, run, toward := nearerEdge(p.EdgeToward, at, r2.Vec{Y: 1}, MarkRight, MarkLeft); !math.IsInf(run, 1) {
		out = append(out, FromMark{Kind: kind, At: r2.Add(at, r2.Scale(run, toward)), RightMM: wholeMM(-run * toward.Y)})
	}
	return out
}

// nearerEdge returns the nearer of the edges that run finds in a direction and in the
// opposite one, its distance, +Inf where there is none, and the direction.
func nearerEdge(run func(from, toward r2.Vec) float64, at, toward r2.Vec, there, back MarkKind) (MarkKind, float64, r2.Vec) {
	opposite := r2.Scale(-1, toward)
	a, b := run(at, toward), run(at, opposite)
	if a <= b {
		return there, a, toward
	}
	return back, b, opposite
}
