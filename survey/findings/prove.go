package findings

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/magmath/room"
	"quietmount/survey"
)

// SpotStation is the station under which captures with the module at a chosen
// spot are kept.
const SpotStation = "spot"

// ErrNoSuchSpot says that the ranking has no spot of that number.
var ErrNoSuchSpot = errors.New("no such spot")

func (f *Findings) isProof(r *survey.Run) bool { return IsProof(f.Craft, r) }

// IsProof reports whether a run was captured with the module at a chosen
// spot: its header says so, or, away from the base, it knows no station but
// the one that stands for the spot.
func IsProof(craft *survey.Craft, r *survey.Run) bool {
	if r.Header.Proof {
		return true
	}
	if _, named := craft.Station(SpotStation); named {
		return false
	}
	any := false
	for _, c := range r.Valid() {
		if c.Visit == survey.VisitBase || (craft.Base != nil && c.Station == craft.Base.Name) {
			continue
		}
		if !strings.EqualFold(c.Station, SpotStation) {
			return false
		}
		any = true
	}
	return any
}

// Place is a place where a module may stand: the surface under the middle of
// its foot, and how far it stands above it.
type Place struct {
	At       r3.Vec
	HeightMM float64
}

// Foot is the point under the foot itself, whatever it stands on.
func (p Place) Foot() r3.Vec { return r3.Vec{X: p.At.X, Y: p.At.Y, Z: p.At.Z - p.HeightMM} }

// Proof is what was promised of a spot beside what was measured there.
type Proof struct {
	Place    Place
	Promised Spot
	Measured *heading.Error      // the worst combination; nil: nothing was captured there
	Worst    []string            // that combination
	Loads    map[string]Estimate // each load at its maximum current, as measured at the spot
	Steady   *SteadyProof        // nil: nothing at rest was captured there, or no background
	Captures int
	PValue   float64 // of the test that the error is no larger than promised; NaN without captures
	OK       bool
	Failed   bool   // what was measured speaks against the spot; where neither is set, something is still to be measured
	Why      string // a plain sentence
	Notes    []string
}

const (
	proofDraws        = 8000
	proofSignificance = 0.05
	proofReachMM      = 5 // captures at most so far from the spot count as captures at it
)

// SpotPlace is the place of the ranked spot of a number, 1 for the first.
func (r *Ranking) SpotPlace(number int) (Place, error) {
	for _, s := range r.Spots {
		if s.Rank == number {
			return Place{s.At, s.HeightMM}, nil
		}
	}
	return Place{}, fmt.Errorf("%w as %d: the ranking has %d", ErrNoSuchSpot, number, len(r.Spots))
}

// Prove compares what the map promises of a place with what was measured
// there: a one-sided test that the true worst error is no larger than the
// promised upper bound, the measured upper bound against the budget, and the
// bound of the steady part, where it was measured, against its limit.
// ErrNoMap where nothing was promised. Without captures at the place OK is
// false and Why says that it is not proved.
func (f *Findings) Prove(at Place) (*Proof, error) {
	if f.Map == nil || len(f.Map.Loads) == 0 {
		return nil, fmt.Errorf("no load was measured on the craft, so that nothing is promised of a spot: %w", ErrNoMap)
	}
	p := &Proof{Place: at, PValue: math.NaN(), Loads: map[string]Estimate{}}
	p.Promised = f.promise(at)
	f.measure(p)
	f.measureSteady(p)
	if p.Captures == 0 {
		p.Why = "not proved: no captures with the module at this spot. Tape it there in its final pose, everything fitted, and pulse each load: quietmount prove --port"
		return p, nil
	}
	f.judge(p)
	return p, nil
}

// promise is what the map says of a place.
func (f *Findings) promise(at Place) Spot {
	s := newScorer(f)
	point := f.Craft.Module.SensorAt(at.Foot(), 0)
	o := s.scoresAt([]r3.Vec{point}, everything)[0]
	out := Spot{
		At: at.At, HeightMM: at.HeightMM, Shifting: o.shifting, Steady: o.steady, SteadyUT: o.steadyUT,
		WithinBudget: o.budgetOK, WithinSteady: o.steadyOK,
	}
	out.NearestStation, _ = f.nearest(at.At)
	for _, k := range o.combo {
		out.WorstCombination = append(out.WorstCombination, s.w.names[k])
	}
	out.ExtrapolationFactor = f.factorOf(out.WorstCombination)
	return out
}

// measure reads each load's field off the proof runs.
func (f *Findings) measure(p *Proof) {
	for _, l := range f.Craft.Loads {
		var some []room.Observation
		for _, r := range f.Proofs {
			if r.Header.State != l.Name {
				continue
			}
			obs, notes := f.proofReadings(r, l, p.Place)
			some = append(some, obs...)
			p.Notes = append(p.Notes, notes...)
		}
		if len(some) == 0 {
			continue
		}
		p.Captures += len(some)
		e := pooled(some)
		if l.Kind == survey.LoadCurrent {
			e.Cov = e.Cov.Add(outerScaled(e.Mean, currentSD*currentSD))
		}
		p.Loads[l.Name] = e
	}
}

// proofReadings are the pulsed differences of a run at the place, at the
// load's maximum current, each with what one setting down of the module
// leaves open.
func (f *Findings) proofReadings(r *survey.Run, l survey.Load, at Place) (out []room.Observation, notes []string) {
	if !r.Header.Pulsed {
		return nil, []string{fmt.Sprintf("Run %d of %q at the spot was not pulsed and proves nothing.", r.Header.Run, l.Name)}
	}
	e := &evaluation{f: f}
	m := f.Craft.Measures()
	some, notes := difference(r, m.RangeUT)
	level := e.level(r, l)
	var gradient magmath.Mat3
	if g, ok := f.Map.Loads[l.Name].(interface{ Gradient(r3.Vec) magmath.Mat3 }); ok {
		gradient = g.Gradient(m.SensorAt(at.Foot(), 0)).Mul(placeShares)
	}
	away := 0
	for _, x := range some {
		if x.off || x.saturated || x.capture.Visit == survey.VisitBase || f.Craft.Base != nil && x.capture.Station == f.Craft.Base.Name {
			continue
		}
		if d := min(r3.Norm(r3.Sub(x.capture.At, at.Foot())), r3.Norm(r3.Sub(x.capture.At, at.At))); d > proofReachMM {
			away++
			continue
		}
		o := room.Observation{B: r3.Scale(1/level, x.b), Cov: x.cov.Scale(1 / (level * level)), Gradient: gradient}
		o.Cov = o.Noise(room.Hyper{PoseDeg: f.PoseDeg, PlaceMM: f.PlaceMM})
		out = append(out, o)
	}
	if away > 0 {
		notes = append(notes, fmt.Sprintf("Run %d: %d captures lie more than %d mm from this spot and prove another.", r.Header.Run, away, proofReachMM))
	}
	return out, notes
}

// pooled is the mean of some readings weighted by their precision, widened
// where they scatter more than their covariances say.
//
// Source: R. T. Birge, Physical Review 40 (1932) 207, for the widening.
func pooled(obs []room.Observation) Estimate {
	var weight magmath.Mat3
	var sum r3.Vec
	inverses := make([]magmath.Mat3, len(obs))
	for i, o := range obs {
		inverses[i] = inverse(o.Cov)
		weight = weight.Add(inverses[i])
		sum = r3.Add(sum, inverses[i].Apply(o.B))
	}
	e := Estimate{Cov: inverse(weight)}
	e.Mean = e.Cov.Apply(sum)
	if len(obs) < 2 {
		return e
	}
	chi := 0.0
	for i, o := range obs {
		d := r3.Sub(o.B, e.Mean)
		chi += r3.Dot(d, inverses[i].Apply(d))
	}
	e.Cov = e.Cov.Scale(max(1, chi/float64(3*(len(obs)-1))))
	return e
}

// inverse of a covariance; zero, of no weight, where there is none.
func inverse(m magmath.Mat3) magmath.Mat3 {
	inv, _ := m.Inverse()
	return inv
}

// judge compares.
func (f *Findings) judge(p *Proof) {
	w := newWorst(f.Craft, p.Loads)
	on := make([]heading.Load, len(w.names))
	for i, n := range w.names {
		on[i] = heading.Load{Mean: p.Loads[n].Mean, Cov: p.Loads[n].Cov}
	}
	got, combo := heading.NewSampler(max(1, len(on))).WorstPosterior(on, w.combos, f.HUT, f.Craft.Limits.TiltDeg)
	p.Measured = &got
	var sum Estimate
	for _, k := range combo {
		p.Worst = append(p.Worst, w.names[k])
		sum.Mean, sum.Cov = r3.Add(sum.Mean, on[k].Mean), sum.Cov.Add(on[k].Cov)
	}
	p.PValue = f.exceeds(sum, p.Promised.Shifting.Upper95)
	budget := f.Craft.Limits.HeadingErrorDeg
	var missing []string
	for _, l := range f.Loads {
		if _, ok := p.Loads[l.Name]; !ok {
			missing = append(missing, fmt.Sprintf("%q", l.Name))
		}
	}
	switch {
	case p.PValue < proofSignificance:
		p.Failed = true
		p.Why = fmt.Sprintf("the error measured at the spot, %.2g degrees, is larger than the promised bound of %.2g: more than chance (p = %.2g). Was something fitted, moved or routed anew since the survey, or does the module stand elsewhere?", got.Estimate, p.Promised.Shifting.Upper95, p.PValue)
	case len(missing) > 0:
		p.Why = fmt.Sprintf("not proved: %s still to be pulsed with the module at the spot", strings.Join(missing, ", "))
	case got.Upper95 > budget:
		p.Failed = true
		p.Why = fmt.Sprintf("not proved: by the captures at the spot the error may reach %.2g degrees, over the budget of %g; lift the module, set it back and repeat, or use more current", got.Upper95, budget)
	case p.Steady != nil && p.Steady.OverLimit:
		p.Failed = true
		p.Why = fmt.Sprintf("not proved: by the captures at the spot the steady part may reach %.3g uT, over the limit of %g; look for a magnet or steel added since the survey", p.Steady.UT.Upper95, f.Craft.Limits.SteadyUT)
	default:
		p.OK = true
		p.Why = fmt.Sprintf("proved: %.2g degrees measured at the spot, at most %.2g, where up to %.2g were promised", got.Estimate, got.Upper95, p.Promised.Shifting.Upper95)
	}
}

// exceeds is the probability of measuring an error at least as large as that
// of e if the truth, in the same direction, were just at the bound: the
// p-value of a one-sided test. 1 where nothing was measured. Drawn, with a
// fixed seed; under 0.0001 it is a floor.
func (f *Findings) exceeds(e Estimate, boundDeg float64) float64 {
	tilt := f.Craft.Limits.TiltDeg
	got, _ := heading.Worst(e.Mean, f.HUT, tilt)
	if !(got > 0) {
		return 1
	}
	truth := f.shrunk(e.Mean, min(boundDeg, 180))
	z := newDrawer(fixedField(e), []r3.Vec{{}})
	rng := rand.New(rand.NewPCG(1, 0x9700f))
	worse := 0
	for range proofDraws {
		z.draw(rng)
		deg, _ := heading.Worst(r3.Add(truth, r3.Sub(z.at(0), e.Mean)), f.HUT, tilt)
		if deg >= got {
			worse++
		}
	}
	return (float64(worse) + 1) / (proofDraws + 1)
}

// shrunk is the multiple of d whose error is the bound, by bisection.
func (f *Findings) shrunk(d r3.Vec, boundDeg float64) r3.Vec {
	low, high := 0.0, 1.0
	for range 60 {
		if deg, _ := heading.Worst(r3.Scale(high, d), f.HUT, f.Craft.Limits.TiltDeg); deg >= boundDeg || high > 1e6 {
			break
		}
		high *= 2
	}
	for range 60 {
		mid := (low + high) / 2
		if deg, _ := heading.Worst(r3.Scale(mid, d), f.HUT, f.Craft.Limits.TiltDeg); deg < boundDeg {
			low = mid
		} else {
			high = mid
		}
	}
	return r3.Scale(low, d)
}

// fixedField is one and the same estimate everywhere.
type fixedField Estimate

// At implements Field.
func (e fixedField) At(r3.Vec) (r3.Vec, magmath.Mat3) { return e.Mean, e.Cov }

// ProofPlaces are the places at which proof runs stand, each once, by number
// of captures.
func (f *Findings) ProofPlaces() []Place {
	var out []Place
	for _, r := range f.Proofs {
		for _, c := range r.Valid() {
			if c.Visit == survey.VisitBase {
				continue
			}
			if !slices.ContainsFunc(out, func(p Place) bool { return r3.Norm(r3.Sub(p.At, c.At)) <= proofReachMM }) {
				out = append(out, Place{At: c.At})
			}
		}
	}
	return out
}
