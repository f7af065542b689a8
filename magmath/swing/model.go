package swing

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"quietmount/magmath/heading"
)

// swingModel gives the sum of squares, in standard uncertainties, that a curve
// leaves of the readings with their headings replaced by z.
type swingModel struct {
	readings []Reading
	vector   bool // fit the fields instead of the headings
	su       float64
	each     int // observations of a heading
	base     int // parameters
	change   int // parameters of a moved magnet
}

func newSwingModel(readings []Reading, o Options) swingModel {
	m := swingModel{readings: readings, vector: true, each: 3, base: 9, change: 3}
	level, down := 0.0, 0.0
	for _, r := range readings {
		if r.Field == nil {
			return swingModel{readings: readings, su: math.Hypot(o.HeadingDeg, approximateSU), each: 1, base: 5, change: 2}
		}
		level += math.Hypot(r.Field.X, r.Field.Y) / float64(len(readings))
		down += math.Abs(r.Field.Z) / float64(len(readings))
	}
	m.su = math.Hypot(math.Hypot(rad(o.HeadingDeg)*level, rad(levelSUDeg)*down), vectorSU)
	return m
}

// What the models themselves are uncertain by.
const (
	approximateSU = 0.4 // degrees: the approximate form
	vectorSU      = 0.1 // microtesla: a module's noise after averaging
	levelSUDeg    = 0.3 // degrees: a turntable is not quite level (common practice, no source)
)

// left returns the chi square with the headings z, without heading skip (-1: none)
// and with a change of the craft's field from heading from on (0: none).
func (m swingModel) left(z []float64, skip, from int) float64 {
	n, columns := len(z), m.base
	if from > 0 {
		columns += m.change
	}
	var rows [][]float64
	var y []float64
	mid := 0.0
	if !m.vector {
		mid = m.middle(z)
	}
	for i := range n {
		if i == skip {
			continue
		}
		on := 0.0
		if from > 0 && i >= from {
			on = 1
		}
		r, v := m.rows(i, z[i], on, mid)
		for k := range r {
			rows, y = append(rows, r[k][:columns]), append(y, v[k])
		}
	}
	if len(y) <= columns {
		return math.Inf(1)
	}
	design := mat.NewDense(len(y), columns, nil)
	for i, r := range rows {
		design.SetRow(i, r)
	}
	_, _, sum, err := leastSquares(design, mat.NewVecDense(len(y), y))
	if err != nil {
		return math.Inf(1)
	}
	return sum / (m.su * m.su)
}

func (m swingModel) middle(z []float64) float64 {
	rows := make([]Row, len(z))
	for i := range z {
		rows[i].DeviationDeg = heading.Wrap180(z[i] - m.readings[i].CompassDeg)
	}
	return middle(rows)
}

// rows returns the equations of a heading: of its deviation, or of the three
// parts of its field. In the craft frame a field that stays in the room turns
// backwards with the heading; Poisson's equations are linear in it.
func (m swingModel) rows(i int, z, on, mid float64) (design [][]float64, y []float64) {
	s, k := math.Sincos(rad(z))
	if !m.vector {
		s2, k2 := math.Sincos(2 * rad(z))
		return [][]float64{{1, s, k, s2, k2, on * s, on * k}}, []float64{heading.Wrap180(z - m.readings[i].CompassDeg - mid)}
	}
	b := m.readings[i].Field
	return [][]float64{
		{1, k, s, 0, 0, 0, 0, 0, 0, on, 0, 0},
		{0, 0, 0, 1, k, s, 0, 0, 0, 0, on, 0},
		{0, 0, 0, 0, 0, 0, 1, k, s, 0, 0, on},
	}, []float64{b.X, b.Y, b.Z}
}
