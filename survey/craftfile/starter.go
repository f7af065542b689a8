package craftfile

import (
	"bytes"
	_ "embed"
	"fmt"
	"math"
	"strings"
	"text/template"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/plane"
	"quietmount/survey"
	"quietmount/survey/number"
)

// StarterKind is the kind of craft that a starter file is for.
type StarterKind string

// The kinds of starter.
const (
	StarterWing       StarterKind = "wing"
	StarterMultirotor StarterKind = "multirotor"
	StarterHull       StarterKind = "hull"
)

// The sizes that a starter can be made for, millimetres.
const (
	StarterMinMM = 50
	StarterMaxMM = 20_000
)

// StarterOptions say what the starter file is for.
type StarterOptions struct {
	Kind                      StarterKind // required
	Name                      string      // empty: "my wing", "my multirotor", "my hull"
	LengthMM, WidthMM         float64     // nose to tail, left to right; 0: typical of the kind
	LatitudeDeg, LongitudeDeg *float64    // nil: an invented place, marked as such
}

// Starter is a commented craft file to start from: it parses as it is, and
// every key that a craft file may hold stands in it, those that are not in
// force behind a "#" without a blank. Outline, grid and places are scaled to
// the length and width; numbers that only the builder can know are invented
// and marked REPLACE. The same options give the same bytes.
func Starter(o StarterOptions) ([]byte, error) {
	shape, err := starterShapeOf(o.Kind)
	if err != nil {
		return nil, err
	}
	if o.Name == "" {
		o.Name = "my " + string(o.Kind)
	}
	if why := nameFault(o.Name); why != "" {
		return nil, fmt.Errorf("the name of the craft %s", why)
	}
	for _, size := range []struct {
		what    string
		mm      *float64
		typical float64
	}{{"length", &o.LengthMM, shape.lengthMM}, {"width", &o.WidthMM, shape.widthMM}} {
		if *size.mm == 0 {
			*size.mm = size.typical
		}
		if !(*size.mm >= StarterMinMM && *size.mm <= StarterMaxMM) {
			return nil, fmt.Errorf("the %s of the craft, %g mm, is not within %d to %d mm", size.what, *size.mm, StarterMinMM, StarterMaxMM)
		}
	}
	return shape.write(o)
}

//go:embed starter.toml.tmpl
var starterText string

// starterShape is what the kinds differ in. Outlines are given for length and
// width 1, nose forward at x = 0.5.
type starterShape struct {
	lengthMM, widthMM float64
	tiltDeg           float64  // how far such a craft leans; common practice, no source
	outline           []r2.Vec // right half from nose to tail; the left half mirrors it
	surface           string   // what the mounting surface is
	area              string   // a typical keep-out
	fitted            []string
	loads             []starterLoad
}

type starterLoad struct {
	Name, Kind string
	MaxA       float64
	Together   string
	Caution    string
}

func starterShapeOf(kind StarterKind) (starterShape, error) {
	switch kind {
	case StarterWing:
		return starterShape{
			lengthMM: 1000, widthMM: 1500, tiltDeg: 30,
			outline: []r2.Vec{{X: 0.5, Y: 0.05}, {X: 0.17, Y: 0.05}, {X: 0.1, Y: 0.5}, {X: -0.08, Y: 0.5}, {X: -0.12, Y: 0.05},
				{X: -0.36, Y: 0.03}, {X: -0.4, Y: 0.17}, {X: -0.5, Y: 0.17}},
			surface: "the top of wing and fuselage", area: "canopy", fitted: []string{"flight pack", "canopy shut"},
			loads: []starterLoad{
				{Name: "motor", Kind: "current", MaxA: 25, Together: "elevator servo", Caution: "Propeller off, wing tied down, one hand on the cut-off."},
				{Name: "elevator servo", Kind: "moving", Together: "motor", Caution: "From end to end, but not into the stops."},
			},
		}, nil
	case StarterMultirotor:
		return starterShape{
			lengthMM: 450, widthMM: 450, tiltDeg: 30,
			outline: []r2.Vec{{X: 0.5, Y: 0.2}, {X: 0.2, Y: 0.5}, {X: -0.2, Y: 0.5}, {X: -0.5, Y: 0.2}},
			surface: "the top plate", area: "antenna", fitted: []string{"flight pack", "camera"},
			loads: []starterLoad{
				{Name: "all motors", Kind: "current", MaxA: 60, Together: "video sender", Caution: "Propellers off, craft tied down, one hand on the cut-off; not long at full throttle."},
				{Name: "video sender", Kind: "current", MaxA: 1, Together: "all motors", Caution: "Never without its antenna, nor long without airflow."},
			},
		}, nil
	case StarterHull:
		return starterShape{
			lengthMM: 700, widthMM: 250, tiltDeg: 10,
			outline: []r2.Vec{{X: 0.5, Y: 0}, {X: 0.25, Y: 0.4}, {X: 0, Y: 0.5}, {X: -0.5, Y: 0.42}},
			surface: "the deck", area: "hatch", fitted: []string{"pack", "hatch shut"},
			loads: []starterLoad{
				{Name: "thruster", Kind: "current", MaxA: 20, Together: "rudder servo", Caution: "Propeller off or guarded, hull tied down, one hand on the cut-off; a water-cooled one only for seconds in air."},
				{Name: "rudder servo", Kind: "moving", Together: "thruster", Caution: "From end to end, but not into the stops."},
			},
		}, nil
	}
	return starterShape{}, fmt.Errorf("no starter for the kind %q: the kinds are wing, multirotor and hull", kind)
}

// scaled is the whole outline at the given size, the nose first, to a tenth
// of a millimetre.
func (s starterShape) scaled(lengthMM, widthMM float64) plane.Polygon {
	var right, left plane.Polygon
	for _, v := range s.outline {
		p := r2.Vec{X: tenth(v.X * lengthMM), Y: tenth(v.Y * widthMM)}
		right = append(right, p)
		if p.Y != 0 {
			left = append(plane.Polygon{{X: p.X, Y: -p.Y}}, left...)
		}
	}
	return append(right, left...)
}

func tenth(v float64) float64 { return math.Round(v*10)/10 + 0 }

// starterSpacing is the round spacing that lays nearest to forty stations on
// the outline, or a less round one where none lays twenty to sixty.
func starterSpacing(outline plane.Polygon) float64 {
	best, stations := nearestSpacing(outline, []float64{1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8})
	if stations >= 20 && stations <= 60 {
		return best
	}
	var fine []float64
	for i := range 180 {
		fine = append(fine, 1+0.05*float64(i))
	}
	best, _ = nearestSpacing(outline, fine)
	return best
}

// nearestSpacing is the spacing among the decades of steps that lays nearest
// to forty stations, and how many it lays.
func nearestSpacing(outline plane.Polygon, steps []float64) (best float64, stations int) {
	off := math.Inf(1)
	for _, decade := range []float64{1, 10, 100, 1000} {
		for _, step := range steps {
			spacing := tenth(decade * step)
			nodes, ok := survey.Grid{SpacingMM: spacing}.Nodes(outline, 400)
			if d := math.Abs(math.Log(float64(len(nodes)) / 40)); ok && d < off {
				best, stations, off = spacing, len(nodes), d
			}
		}
	}
	return best, stations
}

// starterData fills the template.
type starterData struct {
	Kind                StarterKind
	Name                string
	Latitude, Longitude string
	Place               string // a remark on the place
	Outline             string
	Spacing             string
	Surface, Area       string
	Fitted              string
	Loads               []starterLoad
	L, W                float64
	TiltDeg             string // how far such a craft leans
}

// At is the place at the fractions x and y of length and width.
func (d starterData) At(x, y float64) string {
	return number.Format(tenth(x*d.L)) + ", " + number.Format(tenth(y*d.W))
}

// BaseX is 350 mm ahead of the nose.
func (d starterData) BaseX() string { return number.Format(tenth(d.L/2 + 350)) }

// X is a length along the craft.
func (d starterData) X(x float64) string { return number.Format(tenth(x * d.L)) }

func (s starterShape) write(o StarterOptions) ([]byte, error) {
	outline := s.scaled(o.LengthMM, o.WidthMM)
	d := starterData{
		Kind: o.Kind, Name: starterQuote(o.Name),
		Latitude: "50", Longitude: "10", Place: "   # REPLACE: where the craft is used, degrees north and east",
		Spacing: number.Format(starterSpacing(outline)), Surface: s.surface, Area: s.area, Loads: s.loads, TiltDeg: number.Format(s.tiltDeg),
		L: o.LengthMM, W: o.WidthMM,
	}
	if o.LatitudeDeg != nil && o.LongitudeDeg != nil {
		d.Latitude, d.Longitude, d.Place = number.Format(*o.LatitudeDeg), number.Format(*o.LongitudeDeg), "   # where the craft is used, degrees north and east"
	}
	var points, fitted []string
	for _, p := range outline {
		points = append(points, fmt.Sprintf("[%s, %s]", number.Format(p.X), number.Format(p.Y)))
	}
	for _, f := range s.fitted {
		fitted = append(fitted, starterQuote(f))
	}
	d.Outline, d.Fitted = strings.Join(points, ", "), strings.Join(fitted, ", ")
	t, err := template.New("starter").Parse(starterText)
	if err != nil {
		return nil, fmt.Errorf("starter: %w", err)
	}
	var out bytes.Buffer
	if err := t.Execute(&out, d); err != nil {
		return nil, fmt.Errorf("starter: %w", err)
	}
	if _, err := Parse(out.Bytes(), Name); err != nil {
		return nil, fmt.Errorf("no starter can be made with these options: %w", err)
	}
	return out.Bytes(), nil
}

// starterQuote writes a printable text as TOML.
func starterQuote(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}
