package live

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/survey"
)

// craftPlan is the craft seen from above, nose up, as the page draws it: millimetres,
// with X of the drawing to the right (craft y) and Y down (craft -x).
type craftPlan struct {
	Box      [4]float64 `json:"box"` // left, top, width, height
	Outline  string     `json:"outline"`
	Keepouts []area     `json:"keepouts"`
	Stations []point    `json:"stations"`
	Base     *point     `json:"base"` // drawn at the edge: it stands off the craft
	Radius   float64    `json:"radius_mm"`
	Datum    [2]float64 `json:"datum"`
}

// area is a named outline.
type area struct {
	Name   string `json:"name"`
	Points string `json:"points"`
}

// point is a named place in the drawing.
type point struct {
	Name string  `json:"name"`
	X    float64 `json:"x"`
	Y    float64 `json:"y"`
}

// newPlan lays out the drawing of a craft.
func newPlan(c *survey.Craft, extra ...survey.Station) *craftPlan {
	p := &craftPlan{Outline: points(c.Body.OutlineMM)}
	box := c.Body.OutlineMM.Bounds()
	for _, k := range c.Keepouts {
		p.Keepouts = append(p.Keepouts, area{k.Name, points(k.OutlineMM)})
	}
	all := append(c.Stations(), extra...)
	for _, s := range all {
		p.Stations = append(p.Stations, point{s.Name, s.At.Y, -s.At.X})
		box.Min = r2.Vec{X: min(box.Min.X, s.At.X), Y: min(box.Min.Y, s.At.Y)}
		box.Max = r2.Vec{X: max(box.Max.X, s.At.X), Y: max(box.Max.Y, s.At.Y)}
	}
	p.Radius = discRadius(p.Stations, max(box.Max.X-box.Min.X, box.Max.Y-box.Min.Y))
	edge := 2.2 * p.Radius
	top := -box.Max.X - edge
	if c.Base != nil {
		top -= 3.2 * p.Radius // room for the mark round it
		p.Base = &point{c.Base.Name, (box.Min.Y + box.Max.Y) / 2, top + 2.2*p.Radius}
	}
	p.Box = [4]float64{box.Min.Y - edge, top, box.Max.Y - box.Min.Y + 2*edge, -box.Min.X + edge - top}
	return p
}

// discRadius returns the largest radius with which the discs of stations stay apart.
func discRadius(s []point, size float64) float64 {
	nearest := size / 4
	for i := range s {
		for j := range i {
			if d := r2.Norm(r2.Vec{X: s[i].X - s[j].X, Y: s[i].Y - s[j].Y}); d > 0 {
				nearest = min(nearest, d)
			}
		}
	}
	return max(0.42*nearest, size/200)
}

func points(outline plane.Polygon) string {
	parts := make([]string, len(outline))
	for i, q := range outline {
		parts[i] = fmt.Sprintf("%.1f,%.1f", q.Y, -q.X)
	}
	return strings.Join(parts, " ")
}

func vec(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
