package evaluate

import (
	"context"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/magmath/room"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// SpotStation is the name of the station under which captures with the module at
// a chosen spot are stored.
const SpotStation = "spot"

// ProofReachMM is how far from a spot, in millimetres, a capture may lie and still
// count as one at it.
const ProofReachMM = 5

// IsProof reports whether a run was captured with the module at a chosen spot:
// its header says so, or all its stations but the base are SpotStation.
func IsProof(craft *survey.Craft, r *logbook.Run) bool {
	if r.Header.Proof {
		return true
	}
	if _, named := craft.Station(SpotStation); named {
		return false
	}
	any := false
	for _, c := range r.Valid() {
		if c.Visit == logbook.VisitBase || (craft.Base != nil && c.Station == craft.Base.Name) {
			continue
		}
		if !strings.EqualFold(c.Station, SpotStation) {
			return false
		}
		any = true
	}
	return any
}

// ByModule reports whether the module itself made a run, and not another probe: as
// the run's header says, in old runs as the craft file says.
func ByModule(craft *survey.Craft, r *logbook.Run) bool {
	if r.Header.Probe == "" {
		return craft.Probe == nil
	}
	return r.Header.Probe == craft.Module.Name
}

// unitOf returns the unit that made a run.
func (f *Findings) unitOf(r *logbook.Run) survey.Module {
	if f.Craft.Probe == nil || ByModule(f.Craft, r) && IsProof(f.Craft, r) {
		return f.Craft.Module
	}
	return f.Craft.MeasuringModule()
}

// ProofPlace is a mounting place, craft frame, mm.
type ProofPlace struct {
	At   r3.Vec // of the surface
	Foot r3.Vec // under the module's own foot: above At by the mounting height
}

// at reports whether a capture was made at the place, and not at the base station.
func (f *Findings) at(c logbook.Capture, p ProofPlace) (near, base bool) {
	base = c.Visit == logbook.VisitBase || f.Craft.Base != nil && c.Station == f.Craft.Base.Name
	return !base && min(r3.Norm(r3.Sub(c.At, p.Foot)), r3.Norm(r3.Sub(c.At, p.At))) <= ProofReachMM, base
}

// setting is one setting-down of the module: the proof run, counted from 0, and the
// number of the capture.
type setting struct{ run, capture int }

// provedReading is what one setting-down says of one part of the field, per unit of
// the part.
type provedReading struct {
	room.Observation
	setting setting
}

// provedRun is a pulsed proof run: what it says of its loads, and with them off.
type provedRun struct {
	loads    []int     // that are on together, by number
	levels   []float64 // their currents as part of the maximum, negative: reversed
	sd       []float64 // relative standard uncertainty of each current, common to the run
	readings []provedReading
}

// alone reports whether one load was on by itself.
func (r *provedRun) alone() bool { return len(r.loads) == 1 }

// names returns the loads of a run.
func (r *provedRun) names(f *Findings) []string {
	out := make([]string, len(r.loads))
	for i, l := range r.loads {
		out[i] = f.Craft.Loads[l].Name
	}
	return out
}

// pulsedAt returns what the pulsed proof runs say of the loads at a place.
func (f *Findings) pulsedAt(ctx context.Context, p ProofPlace) (runs []*provedRun, notes []remark.Remark) {
	for i, r := range f.Proofs {
		if r.Header.State == survey.StateUnpowered || r.Header.State == survey.StateBackground {
			continue
		}
		if !r.Header.Pulsed {
			notes = append(notes, remark.New("prove.not_pulsed").At(remark.Place{Run: r.Header.Run, Load: r.Header.State}))
			continue
		}
		run, said := f.pulsedRun(ctx, i, p)
		notes = append(notes, said...)
		if len(run.readings) > 0 {
			runs = append(runs, run)
		}
	}
	return runs, notes
}

// pulsedRun returns what one pulsed proof run says of its loads at a place. A run of
// one load is put on its maximum current; one of several together stays as it was
// measured.
func (f *Findings) pulsedRun(ctx context.Context, number int, p ProofPlace) (*provedRun, []remark.Remark) {
	r := f.Proofs[number]
	out := f.powered(r)
	unit := f.unitOf(r)
	some, notes := difference(ctx, r, unit.RangeUT)
	scale := 1.0
	if out.alone() {
		scale = 1 / out.levels[0]
		out.levels[0] = 1
	}
	var gradient magmath.Mat3
	for i, l := range out.loads {
		gradient = gradient.Add(f.placing(f.FieldOf(f.Craft.Loads[l].Name), unit, p.Foot).Scale(out.levels[i]))
	}
	away := 0
	for _, x := range some {
		near, base := f.at(x.Capture, p)
		switch {
		case x.Off || x.Saturated || base:
			continue
		case !near:
			away++
			continue
		}
		o := room.Observation{B: r3.Scale(scale, x.B), Cov: x.Cov.Scale(scale * scale), Gradient: gradient}
		out.readings = append(out.readings, provedReading{o, setting{number, x.Capture.Number}})
	}
	if away > 0 {
		notes = append(notes, remark.New("prove.another_spot", remark.Values{"captures": away, "reach_mm": ProofReachMM}).At(remark.Place{Run: r.Header.Run}))
	}
	return out, notes
}

// powered returns the loads that are on in a run, in the order of the craft file.
func (f *Findings) powered(r *logbook.Run) *provedRun {
	out := &provedRun{}
	own, stated := runCurrent(r)
	for i, l := range f.Craft.Loads {
		amps, with := r.Header.Together[l.Name]
		ok := amps != 0
		if l.Name == r.Header.State {
			amps, ok, with = own, stated, true
		}
		if !with {
			continue
		}
		sd := 0.0
		switch {
		case l.Kind != survey.LoadCurrent:
		case metered(r) && len(r.Header.Together) == 0:
			sd = MeteredCurrentSD
		default:
			sd = TypedCurrentSD
		}
		out.loads, out.levels, out.sd = append(out.loads, i), append(out.levels, levelOf(l, amps, ok)), append(out.sd, sd)
	}
	return out
}

// placing returns the gradient of a map at the sensor of a unit whose foot is at a
// point, as a slip of the hand sees it, microtesla per mm; zero for a map without
// gradients.
func (f *Findings) placing(m Field, unit survey.Module, foot r3.Vec) magmath.Mat3 {
	if g, ok := m.(interface{ Gradient(r3.Vec) magmath.Mat3 }); ok {
		return g.Gradient(unit.SensorAt(foot, 0)).Mul(placeShares)
	}
	return magmath.Mat3{}
}

// restingAt returns the observations of proof runs with everything off, at the
// place and at the base station, for the joint problem: the off levels of pulsed
// captures, and captures of unpowered runs. Those at the place have the number spot
// as their station and say which setting-down they are. offsets gets the runs that
// borrow a background.
func (e *evaluation) restingAt(ctx context.Context, proofs []*logbook.Run, p ProofPlace, spot int, offsets map[int]float64) []provedReading {
	var out []provedReading
	for i, r := range proofs {
		set, borrowed := e.setupOf(r)
		if set < 0 {
			continue
		}
		run := len(e.f.Runs) + i
		if borrowed {
			offsets[run] = borrowedOffsetUT
		}
		out = append(out, e.atRest(ctx, r, p, set, run, spot)...)
	}
	return out
}

// Prior of how far the room's field moves between two runs: 0.5 uT a component, to a
// factor of two and a half. Common practice, no source.
const (
	usualApartUT = 0.5
	apartFactor  = 2.5
)

// runsApartUT returns how far the room's field lies apart between the runs of the
// survey, microtesla a component: the root of its mean square under the density of
// the captures and the prior.
func (e *evaluation) runsApartUT(ctx context.Context) float64 {
	var all, density []float64
	for _, apart := range []float64{0.08, 0.125, 0.2, 0.32, 0.5, 0.8, 1.25, 2} {
		h := e.result.Hyper
		h.OffsetUT = apart
		r, err := room.Solve(ctx, e.obs, e.priors(), room.Options{Hyper: h, OffsetUT: e.offsets, Fixed: true})
		if err != nil {
			continue
		}
		z := math.Log(apart/usualApartUT) / math.Log(apartFactor)
		all, density = append(all, apart), append(density, r.LogDensity()-z*z/2)
	}
	if len(all) == 0 {
		return usualApartUT
	}
	most, sum, weight := slices.Max(density), 0.0, 0.0
	for i, d := range density {
		w := math.Exp(d - most)
		sum, weight = sum+w*all[i]*all[i], weight+w
	}
	return math.Sqrt(sum / weight)
}

// setupOf returns the number of the set-up whose background goes with a proof run:
// that of the run's own session, else a borrowed one of another session with the
// nose in the same direction; negative where there is none.
func (e *evaluation) setupOf(r *logbook.Run) (set int, borrowed bool) {
	set = -1
	for i, s := range e.setups {
		switch {
		case !e.background[i] || logbook.NosesDiffer(s.Nose, r.Header.NoseDeg):
		case s.Session == r.Header.Session:
			return i, false
		case set < 0:
			set = i
		}
	}
	return set, true
}

// atRest returns what a proof run says with everything off, at the place and at the
// base station.
func (e *evaluation) atRest(ctx context.Context, r *logbook.Run, p ProofPlace, set, run, spot int) []provedReading {
	m := e.f.unitOf(r)
	some, _ := locate(ctx, r, m.RangeUT)
	if r.Header.Pulsed {
		// Of a pulsed run only base returns rest throughout.
		some = slices.DeleteFunc(some, func(x reading) bool {
			return x.Capture.Visit != logbook.VisitBase || x.Capture.Switched()
		})
		levels, _ := difference(ctx, r, m.RangeUT)
		some = append(some, slices.DeleteFunc(levels, func(x reading) bool { return !x.Off })...)
	} else if r.Header.State != survey.StateUnpowered {
		return nil
	}
	gradient := e.result.Gradient(set).Mul(placeShares).Add(e.f.placing(e.f.Map.Steady, m, p.Foot))
	var out []provedReading
	for _, x := range some {
		near, base := e.f.at(x.Capture, p)
		o := room.Observation{B: x.B, Cov: x.Cov, At: m.SensorAt(x.Capture.At, 0), TS: x.Ts, Room: set, Run: run, Craft: true, Load: room.NoLoad}
		switch {
		case x.Saturated:
			continue
		case near:
			o.Station, o.Gradient = spot, gradient
		case base:
			o.Station = slices.IndexFunc(e.index.stations, func(p place) bool { return p.IsBase && p.Name == x.Capture.Station })
		default:
			continue
		}
		if o.Station >= 0 {
			out = append(out, provedReading{o, setting{run - len(e.f.Runs), x.Capture.Number}})
		}
	}
	return out
}

// pooled returns the mean of some readings weighted by their precision, widened
// where they scatter beyond their covariances.
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

// inverse returns the inverse of a covariance; zero, of no weight, where there is
// none.
func inverse(m magmath.Mat3) magmath.Mat3 {
	inv, _ := m.Inverse()
	return inv
}
