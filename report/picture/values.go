package picture

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report/contour"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// MapValues are the numbers behind a map, to be read out at any place: on a
// lattice whose rows run from tail to nose, columns from left to right.
type MapValues struct {
	Part     string  `json:"part"`
	HeightMM float64 `json:"height_mm"`
	Xmm      float64 `json:"x_mm"` // of the first row
	Ymm      float64 `json:"y_mm"` // of the first column
	StepMM   float64 `json:"step_mm"`
	Rows     int     `json:"rows"`
	Columns  int     `json:"columns"`

	// Ground is a letter a node, row by row: the Ground constants.
	Ground  string    `json:"ground"`
	Deg     []briefly `json:"heading_error_deg"`
	DegMost []briefly `json:"heading_error_upper95_deg"`
	UT      []briefly `json:"disturbance_ut"`
	UTMost  []briefly `json:"disturbance_upper95_ut"`

	Stations []ValueAt `json:"stations"` // as measured
}

// The ground of a node of MapValues.
const (
	GroundOff      = '.' // off the craft
	GroundKnown    = 'k'
	GroundDoubtful = 'd' // hatched on the map
	GroundLead     = 'l' // too near to a lead for any value
)

// ValueAt is what was measured at a station; null where nothing was.
type ValueAt struct {
	Name    string  `json:"name"`
	Xmm     float64 `json:"x_mm"`
	Ymm     float64 `json:"y_mm"`
	Deg     briefly `json:"heading_error_deg"`
	DegMost briefly `json:"heading_error_upper95_deg"`
	UT      briefly `json:"disturbance_ut"`
	UTMost  briefly `json:"disturbance_upper95_ut"`
}

// briefly is a number in JSON with three digits, or null where there is none.
type briefly float64

// MarshalJSON implements json.Marshaler.
func (v briefly) MarshalJSON() ([]byte, error) {
	x := float64(v)
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return []byte("null"), nil
	}
	x, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 3, 64), 64)
	return strconv.AppendFloat(nil, x, 'f', -1, 64), err
}

// NewMapValues are the numbers of the map that Map draws with the same options.
// The magnitudes are known at the stations only: they have no lattice. It fails
// as Map does.
func NewMapValues(f *findings.Findings, o MapOptions) (*MapValues, error) {
	q, err := quantityOf(f, o.Part)
	if err != nil {
		return nil, err
	}
	height, err := o.height(f.Craft)
	if err != nil {
		return nil, err
	}
	v := &MapValues{Part: q.part, HeightMM: height, Stations: stationValues(f, q.part)}
	if q.at == nil {
		return v, nil
	}
	l := latticeOver(f.Craft.Body.OutlineMM.Bounds())
	v.Xmm, v.Ymm, v.StepMM, v.Rows, v.Columns = say.Tidy(l.Y0), say.Tidy(l.X0), say.Tidy(l.DX), l.NY, l.NX
	v.fill(f, q, l, sensorsOver(f.Craft, l, height))
	return v, nil
}

// sensorsOver are the places of the sensor over the nodes of a lattice.
func sensorsOver(c *survey.Craft, l *contour.Lattice, height float64) []r3.Vec {
	surface := c.Surface()
	points := make([]r3.Vec, 0, l.NX*l.NY)
	for j := range l.NY {
		for i := range l.NX {
			p := l.Place(i, j)
			points = append(points, c.Module.SensorAt(r3.Vec{X: p.Y, Y: p.X, Z: surface.Z(p.Y, p.X)}, height))
		}
	}
	return points
}

// fill puts a number at every node on the craft.
func (v *MapValues) fill(f *findings.Findings, q quantity, l *contour.Lattice, points []r3.Vec) {
	all := felt(f, q.part, points)
	estimate, upper := make([]float64, len(points)), make([]float64, len(points))
	for i, e := range all {
		estimate[i], upper[i] = q.capped(e.deg.Estimate), q.capped(e.deg.Upper95)
		if q.unit != "degrees" {
			estimate[i], upper[i] = e.ut, e.utMost
		}
	}
	doubt, near := doubtOf(l, estimate, upper, q), nearLattice(f.Craft, l, points)
	ground := make([]byte, len(points))
	for i, e := range all {
		p := l.Place(i%l.NX, i/l.NX)
		ground[i] = GroundKnown
		switch {
		case !f.Craft.Body.OutlineMM.Contains(r2.Vec{X: p.Y, Y: p.X}):
			ground[i], e = GroundOff, nothingFelt()
		case near.V[i] > 0:
			ground[i], e = GroundLead, nothingFelt()
		case doubt.V[i] > 0:
			ground[i] = GroundDoubtful
		}
		v.Deg, v.DegMost = append(v.Deg, briefly(e.deg.Estimate)), append(v.DegMost, briefly(e.deg.Upper95))
		v.UT, v.UTMost = append(v.UT, briefly(e.ut)), append(v.UTMost, briefly(e.utMost))
	}
	v.Ground = string(ground)
}

// feeling is what a disturbance does to a compass: the heading error, and the
// size of the field with its bound.
type feeling struct {
	deg        heading.Quantiles
	ut, utMost float64
}

func nothingFelt() feeling {
	none := math.NaN()
	return feeling{heading.Quantiles{Estimate: none, Upper95: none}, none, none}
}

// felt is what a sensor feels of a part at some places.
func felt(f *findings.Findings, part string, points []r3.Vec) []feeling {
	if part == PartShifting {
		return newWorstCase(f).felt(points)
	}
	field := f.Map.Loads[part]
	if part == PartSteady {
		field = f.Map.Steady
	}
	mean, cov := predict(field, points)
	s := heading.NewSampler(1)
	out := make([]feeling, len(points))
	for i := range points {
		out[i] = feelingOf(s, f, mean[i], cov[i])
	}
	return out
}

func feelingOf(s *heading.Sampler, f *findings.Findings, mean r3.Vec, cov magmath.Mat3) feeling {
	return feeling{
		deg: s.Posterior(mean, cov, f.HUT, f.Craft.Limits.TiltDeg).Quantiles,
		ut:  r3.Norm(mean), utMost: s.Magnitude(mean, cov).Upper95,
	}
}

// felt is the heading error of the worst combination, and the size of the field
// of the one that is worst for the mean.
func (w worstCase) felt(points []r3.Vec) []feeling {
	s, one := heading.NewSampler(len(w.names)), heading.NewSampler(1)
	mean, cov := w.fields(points)
	on := make([]heading.Load, len(w.names))
	out := make([]feeling, len(points))
	for i := range points {
		for l := range on {
			on[l] = heading.Load{Mean: mean[l][i], Cov: cov[l][i]}
		}
		e, combo := s.WorstPosterior(on, w.combos, w.f.HUT, w.f.Craft.Limits.TiltDeg)
		var d r3.Vec
		var c magmath.Mat3
		for _, l := range combo {
			d, c = r3.Add(d, on[l].Mean), c.Add(on[l].Cov)
		}
		out[i] = feeling{e.Quantiles, r3.Norm(d), one.Magnitude(d, c).Upper95}
	}
	return out
}

// stationValues are what the stations on the craft saw of a part.
func stationValues(f *findings.Findings, part string) []ValueAt {
	s := heading.NewSampler(1)
	out := []ValueAt{}
	for _, st := range f.Stations {
		e, seen := nothingFelt(), st.Shifting
		switch part {
		case PartShifting:
		case PartSteady:
			seen = st.Steady
		case PartMagnitude:
			seen = nil
			if st.MagnitudeDifference != nil {
				e.ut = *st.MagnitudeDifference
			}
		default:
			seen = nil
			if load, ok := st.Loads[part]; ok {
				seen = &load
			}
		}
		if seen != nil {
			e = feelingOf(s, f, seen.Mean, seen.Cov)
		}
		if part == PartShifting && st.ShiftingError != nil {
			e.deg = st.ShiftingError.Quantiles
		}
		out = append(out, ValueAt{
			Name: st.Station.Name, Xmm: say.Tidy(st.Station.At.X), Ymm: say.Tidy(st.Station.At.Y),
			Deg: briefly(e.deg.Estimate), DegMost: briefly(e.deg.Upper95), UT: briefly(e.ut), UTMost: briefly(e.utMost),
		})
	}
	return out
}

// MapPart is a part of a map that can be drawn.
type MapPart struct {
	Name  string `json:"part"`
	Title string `json:"title"`
	Unit  string `json:"unit"` // degrees or µT: of the colours
}

// MapParts are the parts that Map can draw, the usual one first; none where
// nothing was measured.
func MapParts(f *findings.Findings) []MapPart {
	var out []MapPart
	for _, name := range drawableParts(f) {
		if q, err := quantityOf(f, name); err == nil {
			out = append(out, MapPart{q.part, q.title, q.unit})
		}
	}
	return out
}
