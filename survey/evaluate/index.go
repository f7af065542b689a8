package evaluate

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Index numbers the places at which anything was captured. A name captured at
// two places more than half a millimetre apart is two stations.
type Index struct {
	base     string // name of the base station, empty: none
	Stations []Place
	named    map[string][]int // the stations of each name
}

type Place struct {
	survey.Station
	Sensor r3.Vec
	IsBase bool
}

const SamePlaceMM = 0.5

// of returns the number of the station of a capture, a new one where nothing
// was captured before.
func (x *Index) of(c *logbook.Capture, m survey.Module) int {
	for _, i := range x.named[c.Station] {
		if r3.Norm(r3.Sub(x.Stations[i].At, c.At)) <= SamePlaceMM {
			return i
		}
	}
	if x.named == nil {
		x.named = map[string][]int{}
	}
	x.named[c.Station] = append(x.named[c.Station], len(x.Stations))
	x.Stations = append(x.Stations, Place{
		Station: survey.Station{Name: c.Station, At: c.At},
		Sensor:  m.SensorAt(c.At, 0),
		IsBase:  c.Visit == logbook.VisitBase || (x.base != "" && c.Station == x.base),
	})
	return len(x.Stations) - 1
}

// basePrior is how much the craft may add at the base station: half a
// microtesla at 300 mm from the outline, falling with the cube of the
// distance, as from a dipole. Common practice, no source.
func basePrior(c *survey.Craft, at r3.Vec) float64 {
	d := c.Body.OutlineMM.Distance(r2.Vec{X: at.X, Y: at.Y})
	if math.IsInf(d, 1) {
		return 0.5
	}
	f := 300 / max(d, 1)
	return min(20, max(0.1, 0.5*f*f*f))
}

// Spacing is the distance between stations to count with: the grid's, else
// the median distance to the nearest neighbour, else 60 mm.
func (x *Index) Spacing(c *survey.Craft) float64 {
	if c.Grid != nil && c.Grid.SpacingMM > 0 {
		return c.Grid.SpacingMM
	}
	var nearest []float64
	for i, p := range x.Stations {
		d := math.Inf(1)
		for j, q := range x.Stations {
			if i != j && !p.IsBase && !q.IsBase {
				if e := r3.Norm(r3.Sub(p.At, q.At)); e > SamePlaceMM {
					d = min(d, e)
				}
			}
		}
		if !p.IsBase && !math.IsInf(d, 1) {
			nearest = append(nearest, d)
		}
	}
	return medianOr(nearest, 60)
}

// SpacingMM returns the usual distance between the stations: that of the craft
// file's grid, else the median distance from a station to its nearest neighbour.
func (f *Findings) SpacingMM() float64 {
	x := Index{}
	for _, s := range f.Stations {
		x.Stations = append(x.Stations, Place{Station: s.Station})
	}
	return x.Spacing(f.Craft)
}
