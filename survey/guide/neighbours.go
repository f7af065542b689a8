package guide

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/survey/logbook"
)

// place is a station with the field captured there, craft frame, less that of an
// earlier run if there is one.
type place struct {
	name    string
	at      r3.Vec
	b       r3.Vec
	prior   r3.Vec
	capture int
}

// places returns the stations captured so far except the base, the latest
// capture of each, in the order of their captures. With an earlier run, it
// returns only the stations of that run.
func (w *Walk) places() []place {
	latest := map[string]place{}
	for _, c := range w.captures {
		prior, known := w.prior(c.Station)
		if c.Void != "" || c.Visit == logbook.VisitBase || !known {
			continue
		}
		latest[c.Station] = place{c.Station, c.At, r3.Sub(c.BUT, prior), prior, c.Number}
	}
	out := make([]place, 0, len(latest))
	for _, p := range latest {
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b place) int { return cmp.Compare(a.capture, b.capture) })
	return out
}

// prior returns the earlier run's field at a station; without an earlier run it is
// zero and known everywhere.
func (w *Walk) prior(station string) (r3.Vec, bool) {
	if len(w.cfg.Prior) == 0 {
		return r3.Vec{}, true
	}
	b, ok := w.cfg.Prior[station]
	return b, ok
}

// Parameters of the comparison with neighbours; common practice, no source.
const (
	fewNeighbours  = 6    // under this nothing is said
	mostNeighbours = 28   // the nearest speak for all
	handShare      = 0.05 // of the field's spread: the hand and the mark
	handUT         = 1.3  // and at least this: 1.5 degrees of hand in 50 uT
)

// model is the field fitted to the stations near a capture: a uniform field and
// a harmonic one from sources under the surface.
type model struct {
	from    []place
	spacing float64
	uniform r3.Vec
	kernel  fieldmap.Mirrored
	m       *fieldmap.Map
	left    fieldmap.LeftOut
}

// newModel fits the places nearest to at; ok is false where they are too few
// or cannot be told apart. The depth of the sources is the one that predicts
// left-out places best, by the median, so that one wrong place does not
// choose it.
func newModel(places []place, at r3.Vec) (best *model, ok bool) {
	near := slices.Clone(places)
	slices.SortStableFunc(near, func(a, b place) int {
		return cmp.Compare(r3.Norm(r3.Sub(a.at, at)), r3.Norm(r3.Sub(b.at, at)))
	})
	near = near[:min(len(near), mostNeighbours)]
	spacing := meanNearest(near)
	if len(near) < fewNeighbours || !(spacing > 0) {
		return nil, false
	}
	score := math.Inf(1)
	for _, depth := range [3]float64{0.5, 0.9, 1.6} {
		m := &model{from: near, spacing: spacing, kernel: fieldmap.Mirrored{SurfaceZMM: lowest(near), LogDepth: math.Log(depth * spacing)}}
		if s, err := m.fit(); err == nil && s < score {
			best, score = m, s
		}
	}
	return best, best != nil
}

// lowest returns the z of the lowest place.
func lowest(p []place) float64 {
	z := math.Inf(-1)
	for _, q := range p {
		z = max(z, q.at.Z)
	}
	return z
}

// meanNearest returns the mean distance from a place to the nearest other.
func meanNearest(p []place) float64 {
	sum := 0.0
	for i := range p {
		best := math.Inf(1)
		for j := range p {
			if i != j {
				best = min(best, r3.Norm(r3.Sub(p[i].at, p[j].at)))
			}
		}
		sum += best
	}
	return sum / float64(len(p))
}

// fit conditions the field on the places and returns the median residual of a
// place left out. The field's spread is first guessed, then taken from the
// residuals.
func (m *model) fit() (float64, error) {
	b := make([]r3.Vec, len(m.from))
	for i, p := range m.from {
		b[i] = p.b
	}
	m.uniform = medianVec(b)
	var spread []float64
	for _, v := range b {
		spread = append(spread, r3.Norm(r3.Sub(v, m.uniform))/math.Sqrt(3))
	}
	m.kernel.LogSD = math.Log(max(1.5*median(spread), handUT))
	if err := m.condition(); err != nil {
		return 0, err
	}
	m.rescale()
	if err := m.condition(); err != nil {
		return 0, err
	}
	var off []float64
	for _, r := range m.left.Residual {
		off = append(off, r3.Norm(r))
	}
	return median(off), nil
}

// rescale fits the field's spread to the residuals.
func (m *model) rescale() {
	// The upper quartile of a chi-squared of three degrees of freedom over
	// three is 1.37: a few large residuals count, a single wrong one does not.
	u := make([]float64, len(m.from))
	for i := range u {
		u[i] = magmath.Mahalanobis(m.left.Residual[i], m.left.Cov[i]) / 3
	}
	slices.Sort(u)
	m.kernel.LogSD += 0.5 * math.Log(max(u[3*len(u)/4]/1.37, 0.05))
}

func (m *model) condition() (err error) {
	d := magmath.Readings{}
	sd := max(handUT, handShare*math.Exp(m.kernel.LogSD))
	blocks := make([]magmath.Mat3, len(m.from))
	for i, p := range m.from {
		d.At, d.B = append(d.At, p.at), append(d.B, r3.Sub(p.b, m.uniform))
		blocks[i] = magmath.Diagonal(sd*sd, sd*sd, sd*sd)
	}
	d.Noise = magmath.BlockNoise(blocks)
	// At most mostNeighbours places: milliseconds.
	if m.m, err = fieldmap.Condition(context.Background(), d, m.kernel); err != nil {
		return err
	}
	m.left = m.m.LeaveOneOut()
	if len(m.left.Residual) != len(m.from) {
		return magmath.ErrSingular
	}
	return nil
}

// without returns the model with the same spread and depth, some places left out.
func (m *model) without(names ...string) (*model, error) {
	out := &model{spacing: m.spacing, uniform: m.uniform, kernel: m.kernel}
	for _, p := range m.from {
		if !slices.Contains(names, p.name) {
			out.from = append(out.from, p)
		}
	}
	return out, out.condition()
}

// fit is the comparison of a reading with a prediction.
type fit struct {
	off      r3.Vec       // reading less prediction
	cov      magmath.Mat3 // of that
	distance float64      // squared, in standard deviations
}

func newFit(off r3.Vec, cov magmath.Mat3) fit { return fit{off, cov, magmath.Mahalanobis(off, cov)} }

// at returns the fit of a reading at a place that the model does not include.
func (m *model) at(p, reading r3.Vec) fit {
	mean, cov := m.m.At(p)
	sd := max(handUT, handShare*math.Exp(m.kernel.LogSD))
	return newFit(r3.Sub(r3.Sub(reading, m.uniform), mean), cov.Add(magmath.Diagonal(sd*sd, sd*sd, sd*sd)))
}
