package picture

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/report/contour"
	"quietmount/report/say"
	"quietmount/survey/evaluate"
)

// MapValues are the numbers behind a map, on a lattice whose rows run from tail
// to nose and whose columns run from left to right. A number is null where the
// lattice is off the craft or too near to a lead.
type MapValues struct {
	Part     string  `json:"part"`
	HeightMM float64 `json:"height_mm"`
	Xmm      float64 `json:"x_mm"` // of the first row
	Ymm      float64 `json:"y_mm"` // of the first column
	StepMM   float64 `json:"step_mm"`
	Rows     int     `json:"rows"`
	Columns  int     `json:"columns"`

	// Ground has one letter per node, row by row: . off the craft, k known,
	// d doubtful, l too near to a lead.
	Ground  string    `json:"ground"`
	Deg     []briefly `json:"heading_error_deg"`
	DegMost []briefly `json:"heading_error_upper95_deg"`
	UT      []briefly `json:"disturbance_ut"`
	UTMost  []briefly `json:"disturbance_upper95_ut"`

	Stations []ValueAt `json:"stations"` // as measured
}

// The letters of MapValues.Ground.
const (
	GroundOff      = '.' // off the craft
	GroundKnown    = 'k'
	GroundDoubtful = 'd' // hatched on the map
	GroundLead     = 'l' // too near to a lead for any value
)

// ValueAt is what was measured at a station; null where the part was not.
type ValueAt struct {
	Name    string  `json:"name"`
	Xmm     float64 `json:"x_mm"`
	Ymm     float64 `json:"y_mm"`
	Deg     briefly `json:"heading_error_deg"`
	DegMost briefly `json:"heading_error_upper95_deg"`
	UT      briefly `json:"disturbance_ut"`
	UTMost  briefly `json:"disturbance_upper95_ut"`
}

// briefly is a number that JSON shows with three digits, NaN and infinity as
// null.
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

// NewMapValues returns the numbers of the map that Map draws with the same
// options. Magnitudes have no lattice: they are known at the stations only. Its
// errors are those of Map.
func NewMapValues(ctx context.Context, f *evaluate.Findings, o MapOptions) (*MapValues, error) {
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
	v.fill(ctx, f, q, l, sensorsOver(f.Craft, f.Craft.Module, l, height))
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("values of the map: %w", err)
	}
	return v, nil
}

// fill sets the numbers at the nodes of the lattice.
func (v *MapValues) fill(ctx context.Context, f *evaluate.Findings, q quantity, l *contour.Lattice, points []r3.Vec) {
	all := felt(ctx, f, q.part, points)
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
		ground[i] = GroundKnown
		switch {
		case !onCraft(f.Craft, l, i):
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

// feeling is the effect of a field on a compass: the heading error in degrees,
// and the size of the field's mean with the 95 % bound of its magnitude, µT.
type feeling struct {
	deg        heading.Quantiles
	ut, utMost float64
}

// nothingFelt is the effect of an unknown field.
func nothingFelt() feeling {
	none := math.NaN()
	return feeling{heading.Quantiles{Estimate: none, Upper95: none}, none, none}
}

// felt returns the effect of a part at places of the sensor. For the shifting
// part that is the heading error of the worst combination, and the size of that
// combination's field. Once ctx has ended they are zero.
func felt(ctx context.Context, f *evaluate.Findings, part string, points []r3.Vec) []feeling {
	out := make([]feeling, 0, len(points))
	for _, some := range sensorsAt(f, points) {
		if ctx.Err() != nil {
			return make([]feeling, len(points))
		}
		out = append(out, feltAt(f, part, some)...)
	}
	return out
}

func feltAt(f *evaluate.Findings, part string, s *sensors) []feeling {
	out := make([]feeling, len(s.at))
	if part == PartShifting {
		newWorstCase(f).each(s, func(i int, e heading.Error, sum evaluate.Estimate) {
			_, ut := s.m.SteadyError(heading.Load{Mean: sum.Mean, Cov: sum.Cov})
			out[i] = feeling{e.Quantiles, r3.Norm(sum.Mean), ut.Upper95}
		})
		return out
	}
	for i, on := range s.field(part) {
		out[i] = feelingOf(s.m, on)
	}
	return out
}

// feelingOf returns the effect of one field.
func feelingOf(m *evaluate.Mounted, on heading.Load) feeling {
	deg, ut := m.SteadyError(on)
	return feeling{deg: deg.Quantiles, ut: r3.Norm(on.Mean), utMost: ut.Upper95}
}

// stationValues returns what was measured of a part at the stations.
func stationValues(f *evaluate.Findings, part string) []ValueAt {
	m := f.NewMounted()
	field := f.FieldOf(part)
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
			e = feelingOf(m, m.At(*seen, field, st.Sensor))
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
