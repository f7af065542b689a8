package evaluate

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// index numbers the places at which anything was captured. A name captured at
// two places more than half a millimetre apart is two stations.
type index struct {
	base     string // name of the base station, empty: none
	stations []place
	named    map[string][]int // the stations of each name
}

// place is a station with the place of the probe's sensor.
type place struct {
	survey.Station
	Sensor r3.Vec
	IsBase bool
}

// samePlaceMM is how far apart two captures of one name may lie and still count
// as of one station.
const samePlaceMM = 0.5

// of returns the number of the station of a capture, a new one where nothing
// was captured before.
func (x *index) of(c *logbook.Capture, m survey.Module) int {
	for _, i := range x.named[c.Station] {
		if r3.Norm(r3.Sub(x.stations[i].At, c.At)) <= samePlaceMM {
			return i
		}
	}
	if x.named == nil {
		x.named = map[string][]int{}
	}
	x.named[c.Station] = append(x.named[c.Station], len(x.stations))
	x.stations = append(x.stations, place{
		Station: survey.Station{Name: c.Station, At: c.At},
		Sensor:  m.SensorAt(c.At, 0),
		IsBase:  c.Visit == logbook.VisitBase || (x.base != "" && c.Station == x.base),
	})
	return len(x.stations) - 1
}

// basePrior returns how much the craft may add at the base station: half a
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

// spacing returns the usual distance between stations: the grid's, else the median
// distance to the nearest neighbour, else 60 mm.
func (x *index) spacing(c *survey.Craft) float64 {
	if c.Grid != nil && c.Grid.SpacingMM > 0 {
		return c.Grid.SpacingMM
	}
	var nearest []float64
	for i, p := range x.stations {
		d := math.Inf(1)
		for j, q := range x.stations {
			if i != j && !p.IsBase && !q.IsBase {
				if e := r3.Norm(r3.Sub(p.At, q.At)); e > samePlaceMM {
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
	x := index{}
	for _, s := range f.Stations {
		x.stations = append(x.stations, place{Station: s.Station})
	}
	return x.spacing(f.Craft)
}
