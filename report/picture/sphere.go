package picture

import (
	"errors"
	"fmt"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/vg"

	"quietmount/magmath/calib"
	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey/logbook"
)

// errNoCoverage says that a calibration was stored without the directions that it
// covered.
var errNoCoverage = errors.New("stored without the directions it covered: calibrate again to have its picture")

// Calibration draws the two halves of the sphere of directions side by side in an
// equal-area projection: the directions of the field that a calibration covered,
// and those missing, also in words. It returns an error for a calibration that an
// earlier version stored without its directions.
func Calibration(c logbook.Calibration) (*draw.Picture, error) {
	if len(c.Cells) != calib.Cells {
		return nil, fmt.Errorf("calibration %s: %w", c.ID, errNoCoverage)
	}
	g := &sphere{c: c}
	return g.draw(), nil
}

// sphere is the state of drawing one calibration.
type sphere struct {
	*draw.Page
	c logbook.Calibration
}

// The picture's measures, points.
const (
	sphereRadius = 92.0
	sphereRoom   = 2*sphereRadius + 62
)

func (g *sphere) draw() *draw.Picture {
	name := "calibration"
	if g.c.ID != "" {
		name += " " + g.c.ID
	}
	pic := draw.New(fmt.Sprintf("%s: %s", say.Named(g.c.Probe), name), g.verdict()+" "+g.missing())
	pic.Dated = g.c.Created
	g.Page = draw.PlainPage(pic)
	bottom := g.Lay([]string{g.verdict(), g.missing()}, sphereRoom, g.keys(), 2, "calibration sphere")
	for half := range 2 {
		middle := vg.Point{X: vg.Points(g.Across / 4 * float64(1+2*half)), Y: vg.Points(bottom + 24 + sphereRadius)}
		g.half(middle, half == 1)
	}
	return pic
}

// half draws one half of the sphere.
func (g *sphere) half(middle vg.Point, below bool) {
	first, last := 0, calib.Cells/2
	if below {
		first, last = last, calib.Cells
	}
	g.Disc(middle, sphereRadius, coveredInk, draw.Black, 0)
	for i := first; i < last; i++ {
		if g.c.Cells[i] == 0 {
			cell := cellOutline(i, middle)
			g.Fill(draw.White, cell)
			for _, s := range draw.Hatching(cell, 5, math.Pi/4) {
				g.Line(s[:], 0.8, draw.Black)
			}
		}
	}
	for i := first; i < last; i++ {
		g.Loop(cellOutline(i, middle), 0.5, draw.Grey)
	}
	n := 0
	for _, d := range g.c.Directions {
		u := r3.Vec{X: d[0], Y: d[1], Z: d[2]}
		if (u.Z < 0) == below && u != (r3.Vec{}) {
			g.Disc(spherePlace(u, middle), 1.1, draw.Black, draw.White, 0.3)
			n++
		}
	}
	g.Ring(middle, sphereRadius, draw.Black, 1.3)
	g.axisNames(middle, below)
	g.Picture.Note("half below %t at %.0f, %.0f: %d directions", below, middle.X.Points(), middle.Y.Points(), n)
}

// axisNames writes the names of the axes around a half.
func (g *sphere) axisNames(middle vg.Point, below bool) {
	for _, a := range []struct {
		name      string
		x, y      float64
		left, low float64
	}{{"+x", 0, 1, 0.5, 0}, {"−x", 0, -1, 0.5, 1}, {"+y", 1, 0, 0, 0.5}, {"−y", -1, 0, 1, 0.5}} {
		at := middle.Add(vg.Point{X: vg.Points(a.x * (sphereRadius + 5)), Y: vg.Points(a.y * (sphereRadius + 5))})
		g.Text(at, a.name, draw.Style{Size: draw.TextSize, Left: a.left, Low: a.low})
	}
	words := say.YesNo(below, "−z half", "+z half")
	g.Text(middle.Add(vg.Point{Y: sphereRadius + 21}), "the sensor's "+words, draw.Style{Size: draw.TextSize, Bold: true, Left: 0.5})
}

// spherePlace returns the place on paper of a direction, sensor x up and y to the
// right in both halves.
// Source: Lambert's azimuthal equal-area projection about the pole; Snyder
// (1987), Map Projections: A Working Manual, U.S. Geological Survey
// Professional Paper 1395, ch. 24 (from memory).
func spherePlace(u r3.Vec, middle vg.Point) vg.Point {
	u = r3.Unit(u)
	k := sphereRadius / math.Sqrt(1+math.Abs(u.Z))
	return middle.Add(vg.Point{X: vg.Points(k * u.Y), Y: vg.Points(k * u.X)})
}

// coveredInk is the ground of covered cells.
var coveredInk = color.Gray{Y: 0xe9}

// cellOutline returns the edge of a cell on paper.
func cellOutline(cell int, middle vg.Point) []vg.Point {
	up, low, from, to := calib.CellBounds(cell)
	const steps = 12
	var out []vg.Point
	place := func(z, turn float64) {
		rho := math.Sqrt(max(0, 1-z*z))
		u := r3.Vec{X: rho * math.Cos(turn), Y: rho * math.Sin(turn), Z: z}
		out = append(out, spherePlace(u, middle))
	}
	for i := range steps + 1 {
		place(up, from+(to-from)*float64(i)/steps)
	}
	for i := range steps + 1 {
		place(low, to-(to-from)*float64(i)/steps)
	}
	return out
}

// keys returns the legend.
func (g *sphere) keys() []draw.Key {
	keys := []draw.Key{{Draw: func(p *draw.Pen, at vg.Point) {
		p.Fill(coveredInk, draw.BoxAround(at, 10, 4.5))
		p.Loop(draw.BoxAround(at, 10, 4.5), 0.5, draw.Grey)
	}, Words: "covered: the field came from there"}}
	if g.covered() < calib.Cells {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) {
			box := draw.BoxAround(at, 10, 4.5)
			for _, s := range draw.Hatching(box, 5, math.Pi/4) {
				p.Line(s[:], 0.8, draw.Black)
			}
			p.Loop(box, 0.5, draw.Grey)
		}, Words: "not covered"})
	}
	if len(g.c.Directions) > 0 {
		words := "reading, corrected"
		if len(g.c.Directions) < g.c.Samples {
			words = fmt.Sprintf("reading, corrected; %d of %d are drawn", len(g.c.Directions), g.c.Samples)
		}
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Disc(at, 1.4, draw.Black, draw.White, 0.3) }, Words: words})
	}
	return append(keys, draw.Key{Draw: nil, Words: "all cells have the same area, on the sphere and here; directions are in the sensor's axes, x up and y to the right in both halves"})
}

// covered counts the cells with a reading.
func (g *sphere) covered() int {
	n := 0
	for _, k := range g.c.Cells {
		if k > 0 {
			n++
		}
	}
	return n
}

// verdict states the result of the calibration.
func (g *sphere) verdict() string {
	if !g.c.Accepted {
		return "Not accepted: " + strings.TrimSuffix(g.c.Why, ".") + "."
	}
	return fmt.Sprintf("%s, %d parameters; expected error of a corrected field across its direction %.2f µT. Covered: %.0f %% of the sphere, %.0f %% of the attitudes to be flown.",
		say.Counted(g.c.Samples, "reading"), g.c.Parameters, g.c.ErrorUT, 100*g.c.SphereCovered, 100*g.c.AttitudesCovered)
}

// missing states which side was not covered and how to close the largest gap.
func (g *sphere) missing() string {
	side := missingSide(g.c.Cells)
	if side == "" {
		return "All directions were covered."
	}
	words := fmt.Sprintf("Not covered: %d of %d cells, %s.", calib.Cells-g.covered(), calib.Cells, side)
	if g.c.LargestGap != "" {
		words += " To close the largest gap, starting from the last attitude: " + strings.TrimSuffix(g.c.LargestGap, ".") + "."
	}
	return words
}

// missingSide describes on which side of the sensor the cells without a reading
// are; empty if there are none.
func missingSide(cells []int) string {
	var sum r3.Vec
	n := 0
	for i, k := range cells {
		if k == 0 {
			sum, n = r3.Add(sum, calib.CellDirection(i)), n+1
		}
	}
	if n == 0 {
		return ""
	}
	if n == len(cells) {
		return "on every side"
	}
	if r3.Norm(sum) < 0.3*float64(n) { // no side: scattered, or a ring
		return "on no particular side"
	}
	mean := r3.Unit(sum)
	var axes []string
	for _, a := range []struct {
		v    float64
		name string
	}{{mean.X, "x"}, {mean.Y, "y"}, {mean.Z, "z"}} {
		if math.Abs(a.v) > 0.4 {
			axes = append(axes, say.YesNo(a.v > 0, "+", "−")+a.name)
		}
	}
	return "mostly with the field along the sensor's " + say.Listed(axes)
}
