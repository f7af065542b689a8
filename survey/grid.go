package survey

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
)

// gridNode is a node of the grid on the craft.
type gridNode struct {
	Name string
	at   r2.Vec
}

// craftMostNodes bounds the nodes looked at around the outline.
const craftMostNodes = 50_000

// Nodes are the grid's nodes inside or on outline, row by row from the nose,
// each row from left to right. Nodes stand at the origin plus whole multiples
// of the spacing. Lines of nodes are counted over the box around the outline:
// column A is the leftmost line (smallest y), row 1 the foremost (largest x)
// that meets the box, and a line keeps its letter or number even where none
// of its nodes lies on the craft. Nodes on the edge count. It reports false
// if there are more than most.
func (g Grid) Nodes(outline plane.Polygon, most int) ([]gridNode, bool) {
	box := outline.Bounds()
	x0, rows := g.lines(g.OriginMM.X, box.Min.X, box.Max.X)
	y0, columns := g.lines(g.OriginMM.Y, box.Min.Y, box.Max.Y)
	if !(rows*columns <= craftMostNodes) {
		return nil, false
	}
	var out []gridNode
	for row := range int(rows) {
		for column := range int(columns) {
			at := r2.Vec{
				X: g.node(g.OriginMM.X, x0+rows-1-float64(row)),
				Y: g.node(g.OriginMM.Y, y0+float64(column)),
			}
			if !outline.Contains(at) {
				continue
			}
			if len(out) == most {
				return nil, false
			}
			out = append(out, gridNode{columnLetters(column) + strconv.Itoa(row+1), at})
		}
	}
	return out, true
}

// lines is the multiple of the spacing at which the first line of nodes within
// low..high stands, and the number of lines.
func (g Grid) lines(origin, low, high float64) (first, count float64) {
	first = math.Ceil((low - plane.OnEdgeMM - origin) / g.SpacingMM)
	last := math.Floor((high + plane.OnEdgeMM - origin) / g.SpacingMM)
	return first, max(last-first+1, 0)
}

// node is a coordinate rounded to a nanometre, so that 3 * 0.1 prints as 0.3.
func (g Grid) node(origin, multiple float64) float64 {
	return math.Round((origin+multiple*g.SpacingMM)*1e6)/1e6 + 0
}

// columnLetters is A for 0, Z for 25, AA for 26, AB for 27 ...
func columnLetters(column int) string {
	var s []byte
	for n := column + 1; n > 0; n = (n - 1) / 26 {
		s = append([]byte{byte('A' + (n-1)%26)}, s...)
	}
	return string(s)
}

// Stations are the stations on the craft: the grid's, row by row from nose to
// tail and each row from left to right, on the mounting surface; then the
// single stations as written. The base station is not among them.
func (c *Craft) Stations() []Station {
	var out []Station
	if c.Grid != nil && c.Grid.SpacingMM > 0 {
		surface := c.Surface()
		nodes, _ := c.Grid.Nodes(c.Body.OutlineMM, CraftMostStations)
		for _, n := range nodes {
			out = append(out, Station{n.Name, r3.Vec{X: n.at.X, Y: n.at.Y, Z: surface.Z(n.at.X, n.at.Y)}})
		}
	}
	return append(out, c.Singles...)
}

// Station is the station, or the base station, called name.
func (c *Craft) Station(name string) (Station, bool) {
	if c.Base != nil && c.Base.Name == name {
		return *c.Base, true
	}
	for _, s := range c.Stations() {
		if s.Name == name {
			return s, true
		}
	}
	return Station{}, false
}

// StationNames are the names of all stations, the base station last.
func (c *Craft) StationNames() []string {
	var names []string
	for _, s := range c.Stations() {
		names = append(names, s.Name)
	}
	if c.Base != nil {
		names = append(names, c.Base.Name)
	}
	return names
}

// CraftMostStations bounds what one person can walk, and then some.
const CraftMostStations = 5000
