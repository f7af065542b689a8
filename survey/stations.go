package survey

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
)

// MaxStations bounds the stations of a grid, far above what one person walks.
const MaxStations = 5000

// maxNodes bounds the nodes of a grid in the box around the outline.
const maxNodes = 50_000

// Nodes returns the grid's nodes inside or on outline as stations at z = 0, row
// by row from the nose, each row from left to right. Nodes stand at the origin
// plus whole multiples of the spacing. Lines of nodes are counted over the box
// around the outline: column A is the leftmost line (smallest y), row 1 the
// foremost (largest x) that meets the box, and a line keeps its letter or number
// even where none of its nodes lies on the craft. Nodes on the edge count. It
// reports false if there are more than most.
func (g Grid) Nodes(outline plane.Polygon, most int) ([]Station, bool) {
	box := outline.Bounds()
	x0, rows := g.lines(g.OriginMM.X, box.Min.X, box.Max.X)
	y0, columns := g.lines(g.OriginMM.Y, box.Min.Y, box.Max.Y)
	if !(rows*columns <= maxNodes) {
		return nil, false
	}
	var out []Station
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
			out = append(out, Station{columnLetters(column) + strconv.Itoa(row+1), r3.Vec{X: at.X, Y: at.Y}})
		}
	}
	return out, true
}

// lines returns the multiple of the spacing at which the first line of nodes within
// low..high stands, and the number of lines.
func (g Grid) lines(origin, low, high float64) (first, count float64) {
	first = math.Ceil((low - plane.OnEdgeMM - origin) / g.SpacingMM)
	last := math.Floor((high + plane.OnEdgeMM - origin) / g.SpacingMM)
	return first, max(last-first+1, 0)
}

// node returns a coordinate rounded to a nanometre, so that 3 * 0.1 prints as 0.3.
func (g Grid) node(origin, multiple float64) float64 {
	return math.Round((origin+multiple*g.SpacingMM)*1e6)/1e6 + 0
}

// columnLetters returns A for 0, Z for 25, AA for 26, AB for 27 ...
func columnLetters(column int) string {
	var s []byte
	for n := column + 1; n > 0; n = (n - 1) / 26 {
		s = append([]byte{byte('A' + (n-1)%26)}, s...)
	}
	return string(s)
}

// Stations returns the stations on the craft: the grid's, row by row from nose to
// tail and each row from left to right, on the mounting surface; then the
// single stations as written. The base station is not among them.
func (c *Craft) Stations() []Station {
	var out []Station
	if c.Grid != nil && c.Grid.SpacingMM > 0 {
		surface := c.Surface()
		out, _ = c.Grid.Nodes(c.Body.OutlineMM, MaxStations)
		for i := range out {
			out[i].At.Z = surface.Z(out[i].At.X, out[i].At.Y)
		}
	}
	return append(out, c.Singles...)
}

// Station returns the station, or the base station, called name.
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

// StationNames returns the names of all stations, the base station last.
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

// StationsByName returns every station of the craft and its base, by name; empty
// for no craft.
func (c *Craft) StationsByName() map[string]Station {
	table := map[string]Station{}
	if c == nil {
		return table
	}
	for _, s := range c.Stations() {
		table[s.Name] = s
	}
	if c.Base != nil {
		table[c.Base.Name] = *c.Base
	}
	return table
}
