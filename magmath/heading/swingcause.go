package heading

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// CauseKind sorts what may go wrong in a swing.
type CauseKind string

// The causes.
const (
	CauseNone      CauseKind = ""
	CauseHalfTurn  CauseKind = "half turn" // a heading wrong by 180 degrees
	CauseHeading   CauseKind = "heading"   // a heading wrong by something else
	CauseExchanged CauseKind = "exchanged" // two headings in the wrong order
	CauseReversed  CauseKind = "reversed"  // all headings the other way round
	CauseTurntable CauseKind = "turntable" // the reference moved during the swing
	CauseMagnet    CauseKind = "magnet"    // a magnet moved during the swing
	CauseUnclear   CauseKind = "unclear"   // they do not fit and no one slip explains it
)

// Cause is the likeliest reason for headings that do not fit one curve.
type Cause struct {
	Kind  CauseKind
	First int       // index of the heading, or of the first after the change
	Other int       // CauseExchanged: the other heading
	ByDeg float64   // CauseHeading, CauseTurntable: how far
	Names []float64 // magnetic headings of First and Other as given

	Surely float64 // by how much it beats an honest swing, chi square less penalties
}

// leftOut are the headings that the fit does without.
func (c Cause) leftOut() []int {
	if c.Kind == CauseHalfTurn || c.Kind == CauseHeading {
		return []int{c.First}
	}
	return nil
}

// String says it in words.
func (c Cause) String() string {
	name := func(i int) string { return fmt.Sprintf("%03.0f", c.Names[i]) }
	switch c.Kind {
	case CauseHalfTurn:
		return "heading " + name(0) + " is wrong by 180 degrees: the nose pointed the other way, or the opposite heading was noted; it was left out, take it again"
	case CauseHeading:
		return fmt.Sprintf("heading %s does not fit the others: it is off by %+.0f degrees; it was left out, take it again", name(0), c.ByDeg)
	case CauseExchanged:
		return "headings " + name(0) + " and " + name(1) + " seem to have been exchanged: note them the other way round, or take both again"
	case CauseReversed:
		return "the headings run the wrong way round: the craft was turned to the left while the headings were counted to the right, or the sensor's axes are mirrored (the arrow check tells)"
	case CauseTurntable:
		return fmt.Sprintf("from heading %s on everything is turned by %+.0f degrees: the turntable or the reference moved; fix it and swing again", name(0), c.ByDeg)
	case CauseMagnet:
		return "from heading " + name(0) + " on the craft's own field is another: a magnet or a piece of iron moved during the swing; find it and swing again"
	case CauseUnclear:
		return "the headings do not fit one curve, and no single slip explains it: swing again, iron and tools away"
	}
	return ""
}

// When a cause is named; by simulation, see the tests.
const (
	causeEvidence  = 10.0 // how much better than an honest swing
	mostSearched   = 72   // headings, more make the search long
	halfTurnWithin = 35.0 // degrees about 180
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

func newSwingModel(readings []Reading, o SwingOptions) swingModel {
	m := swingModel{readings: readings, vector: true, each: 3, base: 9, change: 3}
	level := 0.0
	for _, r := range readings {
		if r.Field == nil {
			return swingModel{readings: readings, su: math.Hypot(o.HeadingDeg, approximateSU), each: 1, base: 5, change: 2}
		}
		level += math.Hypot(r.Field.X, r.Field.Y) / float64(len(readings))
	}
	m.su = math.Hypot(rad(o.HeadingDeg)*level, vectorSU)
	return m
}

// What the models themselves are uncertain by.
const (
	approximateSU = 0.4  // degrees: the approximate form
	vectorSU      = 0.15 // microtesla: a module's noise after averaging, a slight tilt
)

// left is the chi square with the headings z, without heading skip (-1: none)
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
		rows[i].DeviationDeg = Wrap180(z[i] - m.readings[i].CompassDeg)
	}
	return middle(rows)
}

// rows are the equations of a heading: of its deviation, or of the three
// parts of its field. In the craft frame a field that stays in the room turns
// backwards with the heading; Poisson's equations are linear in it.
func (m swingModel) rows(i int, z, on, mid float64) (design [][]float64, y []float64) {
	s, k := math.Sincos(rad(z))
	if !m.vector {
		s2, k2 := math.Sincos(2 * rad(z))
		return [][]float64{{1, s, k, s2, k2, on * s, on * k}}, []float64{Wrap180(z - m.readings[i].CompassDeg - mid)}
	}
	b := m.readings[i].Field
	return [][]float64{
		{1, k, s, 0, 0, 0, 0, 0, 0, on, 0, 0},
		{0, 0, 0, 1, k, s, 0, 0, 0, 0, on, 0},
		{0, 0, 0, 0, 0, 0, 1, k, s, 0, 0, on},
	}, []float64{b.X, b.Y, b.Z}
}

// search collects the explanations.
type search struct {
	m     swingModel
	z     []float64
	score float64
	best  Cause
}

// try keeps an explanation that costs least: its chi square, a penalty for
// the parameters it adds (the Bayesian information criterion), and one for how
// many of its kind were tried.
func (s *search) try(chi2 float64, extra, alternatives int, c Cause) {
	cost := chi2 + float64(extra)*math.Log(float64(len(s.z)*s.m.each)) + 2*math.Log(float64(alternatives))
	if cost >= s.score {
		return
	}
	for _, i := range []int{c.First, c.Other} {
		c.Names = append(c.Names, Wrap360(s.m.readings[i].MagneticDeg))
	}
	s.score, s.best = cost, c
}

// diagnose looks for the one slip that explains why the headings do not fit
// one curve. Fields, where there are any, tell more than headings: a moved
// magnet changes the field's size and its vertical part, a moved turntable
// does not.
func diagnose(readings []Reading, o SwingOptions) Cause {
	m := newSwingModel(readings, o)
	s := &search{m: m}
	for _, r := range readings {
		s.z = append(s.z, r.MagneticDeg)
	}
	honest := m.left(s.z, -1, 0)
	dof := len(s.z)*m.each - m.base
	if s.reversed() {
		return Cause{Kind: CauseReversed, Names: []float64{s.z[0], s.z[0]}}
	}
	if plausible(honest, dof) || m.exactly(dof) {
		return Cause{}
	}
	if len(s.z) > mostSearched {
		return Cause{Kind: CauseUnclear, Names: []float64{s.z[0], s.z[0]}}
	}
	s.score = honest
	s.headings()
	s.exchanged()
	s.turntable()
	s.magnet()
	s.best.Surely = honest - s.score
	if s.best.Kind == CauseNone || s.best.Surely < causeEvidence {
		return Cause{Kind: CauseUnclear, Names: []float64{s.z[0], s.z[0]}}
	}
	return s.best
}

// exactly reports whether the exact form explains plain headings: with large
// deviations the approximate one does not, and nothing is wrong.
func (m swingModel) exactly(dof int) bool {
	if m.vector {
		return false
	}
	_, _, left, err := fitExact(rowsOf(m.readings), Coefficients{})
	return err == nil && plausible(left/(m.su*m.su), dof)
}

// reversed reports whether the compass runs against the headings.
func (s *search) reversed() bool {
	var with, against [2]float64
	for i, r := range s.m.readings {
		sin, cos := math.Sincos(rad(s.z[i] - r.CompassDeg))
		with[0], with[1] = with[0]+sin, with[1]+cos
		sin, cos = math.Sincos(rad(s.z[i] + r.CompassDeg))
		against[0], against[1] = against[0]+sin, against[1]+cos
	}
	n := float64(len(s.z))
	return math.Hypot(against[0], against[1])/n > 0.8 && math.Hypot(with[0], with[1])/n < 0.5
}

// headings tries each heading as wrong, by what it would have to be instead.
func (s *search) headings() {
	for i := range s.z {
		chi2 := s.m.left(s.z, i, 0)
		if math.IsInf(chi2, 1) {
			continue
		}
		by := s.instead(i)
		c := Cause{Kind: CauseHeading, First: i, Other: i, ByDeg: by}
		if math.Abs(math.Abs(by)-180) < halfTurnWithin {
			c.Kind = CauseHalfTurn
		}
		s.try(chi2, s.m.each, len(s.z), c)
	}
}

// instead is by how much heading i would have to turn to fit the others best.
func (s *search) instead(i int) float64 {
	return s.turned(func(z []float64, by float64) { z[i] += by })
}

// turned is the turn that fits best, degrees, -180 to 180.
func (s *search) turned(apply func(z []float64, by float64)) float64 {
	cost := func(by float64) float64 {
		z := append([]float64(nil), s.z...)
		apply(z, by)
		return s.m.left(z, -1, 0)
	}
	const step = 10.0
	best, at := math.Inf(1), 0.0
	for by := -180.0; by < 180; by += step {
		if c := cost(by); c < best {
			best, at = c, by
		}
	}
	return Wrap180(golden(cost, at-step, at+step))
}

// exchanged tries each pair of headings the other way round.
func (s *search) exchanged() {
	n := len(s.z)
	for i := range n {
		for j := i + 1; j < n; j++ {
			if math.Abs(Wrap180(s.z[i]-s.z[j])) < sameHeadingDeg {
				continue
			}
			z := append([]float64(nil), s.z...)
			z[i], z[j] = z[j], z[i]
			s.try(s.m.left(z, -1, 0), 0, n*(n-1)/2, Cause{Kind: CauseExchanged, First: i, Other: j})
		}
	}
}

// fewestAfter is how many headings a change must have on either side.
const fewestAfter = 2

// turntable tries a turn of the reference from each heading on.
func (s *search) turntable() {
	n := len(s.z)
	for k := fewestAfter; k <= n-fewestAfter; k++ {
		shift := func(z []float64, by float64) {
			for i := k; i < n; i++ {
				z[i] += by
			}
		}
		by := s.turned(shift)
		z := append([]float64(nil), s.z...)
		shift(z, by)
		s.try(s.m.left(z, -1, 0), 1, n, Cause{Kind: CauseTurntable, First: k, Other: k, ByDeg: by})
	}
}

// magnet tries a change of the craft's field from each heading on.
func (s *search) magnet() {
	n := len(s.z)
	for k := fewestAfter; k <= n-fewestAfter; k++ {
		s.try(s.m.left(s.z, -1, k), s.m.change, n, Cause{Kind: CauseMagnet, First: k, Other: k})
	}
}
