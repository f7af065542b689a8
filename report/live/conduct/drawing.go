package conduct

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/arrow"
	"quietmount/survey/swing"
)

// drawing is a line drawing of how the craft lies at a stop, seen from the
// south and above, in a box of 240 by 180 about its middle: the ground with
// north, and a slab with a blunt nose, an arrow on its upper side and a cross
// on its lower one.
type drawing struct {
	Ground string      `json:"ground"` // path of the ground's cross
	North  [2]float64  `json:"north"`  // where its letter stands
	Faces  []drawnFace `json:"faces"`  // far ones first
}

// drawnFace is a face of the slab that can be seen.
type drawnFace struct {
	Kind  string `json:"kind"` // "top", "under", "nose" or "side"
	Path  string `json:"path"`
	Marks string `json:"marks"` // path of the arrow or the cross on it
}

// The slab, in the craft's own directions.
const (
	slabLong, slabWide, slabThick = 70.0, 42.0, 9.0
	slabNose                      = 34.0 // from the middle to where the nose begins to narrow
)

// drawPose draws the stop of that name, a mark of a turntable or a pose; nil for
// any other name.
func drawPose(name string) *drawing {
	turn, ok := poseOf(name)
	if !ok {
		return nil
	}
	d := &drawing{Ground: groundPath()}
	tip := project(r3.Vec{X: 138, Z: 52})
	d.North = [2]float64{math.Round(10*tip[0]) / 10, math.Round(10*tip[1]) / 10}
	for _, f := range slab() {
		d.add(turn, f)
	}
	return d
}

// poseOf returns the rotation from the craft's directions to north, east and down.
func poseOf(name string) (func(r3.Vec) r3.Vec, bool) {
	if deg, err := swing.ParseHeading(name); err == nil {
		s, c := math.Sincos(deg * math.Pi / 180)
		return func(v r3.Vec) r3.Vec { return r3.Vec{X: c*v.X - s*v.Y, Y: s*v.X + c*v.Y, Z: v.Z} }, true
	}
	p := arrow.PoseName(name)
	n, ok := p.In(r3.Vec{X: 1})
	if !ok {
		return nil, false
	}
	e, _ := p.In(r3.Vec{Y: 1})
	d, _ := p.In(r3.Vec{Z: 1})
	return func(v r3.Vec) r3.Vec { return r3.Vec{X: r3.Dot(n, v), Y: r3.Dot(e, v), Z: r3.Dot(d, v)} }, true
}

// project places a point, north, east, down, on the drawing, in an oblique projection: east to
// the right, north away to the upper right, down downwards.
func project(v r3.Vec) [2]float64 {
	return [2]float64{v.Y + 0.5*v.X, v.Z - 0.42*v.X}
}

// towards returns the direction from the craft to the viewer.
func towards() r3.Vec { return r3.Vec{X: -1, Y: 0.5, Z: -0.42} }

// side is a face of the slab: its corners in order, seen from outside.
type side struct {
	kind    string
	corners []r3.Vec
	marks   [][]r3.Vec
}

func slab() []side {
	outline := []r3.Vec{ // of the upper side, nose first, clockwise from above
		{X: slabLong, Y: -12}, {X: slabLong, Y: 12}, {X: slabNose, Y: slabWide}, {X: -slabLong, Y: slabWide},
		{X: -slabLong, Y: -slabWide}, {X: slabNose, Y: -slabWide},
	}
	at := func(z float64, points ...r3.Vec) []r3.Vec {
		out := make([]r3.Vec, len(points))
		for i, p := range points {
			out[i] = r3.Vec{X: p.X, Y: p.Y, Z: z}
		}
		return out
	}
	arrow := [][]r3.Vec{
		at(-slabThick, r3.Vec{X: -48}, r3.Vec{X: 50}),
		at(-slabThick, r3.Vec{X: 26, Y: -16}, r3.Vec{X: 50}, r3.Vec{X: 26, Y: 16}),
	}
	cross := [][]r3.Vec{
		at(slabThick, r3.Vec{X: -40, Y: -26}, r3.Vec{X: 26, Y: 26}),
		at(slabThick, r3.Vec{X: -40, Y: 26}, r3.Vec{X: 26, Y: -26}),
	}
	out := []side{{"top", at(-slabThick, outline...), arrow}, {"under", at(slabThick, outline...), cross}}
	for i, p := range outline {
		q := outline[(i+1)%len(outline)]
		kind := "side"
		if i == 0 {
			kind = "nose"
		}
		out = append(out, side{kind, append(at(-slabThick, p, q), at(slabThick, q, p)...), nil})
	}
	return out
}

// add draws a face if it can be seen. The slab is convex: faces that can be seen
// do not hide one another.
func (d *drawing) add(turn func(r3.Vec) r3.Vec, f side) {
	middle := r3.Vec{}
	for _, c := range f.corners {
		middle = r3.Add(middle, r3.Scale(1/float64(len(f.corners)), c))
	}
	outward := r3.Cross(r3.Sub(f.corners[1], f.corners[0]), r3.Sub(f.corners[2], f.corners[1]))
	if r3.Dot(outward, middle) < 0 {
		outward = r3.Scale(-1, outward)
	}
	if r3.Dot(turn(outward), towards()) <= 1e-9 {
		return
	}
	out := drawnFace{Kind: f.kind, Path: path(turn, f.corners) + "Z"}
	for _, m := range f.marks {
		out.Marks += path(turn, m)
	}
	d.Faces = append(d.Faces, out)
}

func path(turn func(r3.Vec) r3.Vec, points []r3.Vec) string {
	var b strings.Builder
	for i, p := range points {
		q := project(turn(p))
		fmt.Fprintf(&b, "%s%.1f,%.1f", map[bool]string{true: "M", false: "L"}[i == 0], q[0], q[1])
	}
	return b.String()
}

// groundPath is a line from south to north under the craft, with its head, and a
// short one across.
func groundPath() string {
	const down = 52
	ground := func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: v.Y, Z: down} }
	return path(ground, []r3.Vec{{X: -100}, {X: 120}}) + path(ground, []r3.Vec{{X: 102, Y: -9}, {X: 120}, {X: 102, Y: 9}}) +
		path(ground, []r3.Vec{{Y: -60}, {Y: 60}})
}
