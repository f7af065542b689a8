package evaluate

import (
	"context"
	stdmaps "maps"
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

// atSpot reports whether a capture was made at the spot at, or at foot, the point
// under the module's own foot, and not at the base station.
func (f *Findings) atSpot(c logbook.Capture, at, foot r3.Vec) (near, base bool) {
	base = c.Visit == logbook.VisitBase || f.Craft.Base != nil && c.Station == f.Craft.Base.Name
	return !base && min(r3.Norm(r3.Sub(c.At, foot)), r3.Norm(r3.Sub(c.At, at))) <= ProofReachMM, base
}

// placing returns the gradient of a map at the sensor of a module whose foot is at
// a point, as a slip of the hand sees it, microtesla per mm; zero for a map
// without gradients.
func (f *Findings) placing(m Field, foot r3.Vec) magmath.Mat3 {
	if g, ok := m.(interface{ Gradient(r3.Vec) magmath.Mat3 }); ok {
		return g.Gradient(f.Craft.MeasuringModule().SensorAt(foot, 0)).Mul(placeShares)
	}
	return magmath.Mat3{}
}

// ProvedLoad returns the field of a load at its maximum current from the pulsed
// proof runs at a spot, craft frame, microtesla: the weighted mean of their
// differences, each with the placement uncertainty of one setting down of the
// module. at is the point of the surface and foot the point under the module's
// own foot; captures farther than ProofReachMM from both do not count. captures
// is the number of those that do: 0 where the load was not proved there.
func (f *Findings) ProvedLoad(ctx context.Context, l survey.Load, at, foot r3.Vec) (field Estimate, captures int, notes []remark.Remark) {
	var all []room.Observation
	sd := MeteredCurrentSD
	for _, r := range f.Proofs {
		if r.Header.State != l.Name {
			continue
		}
		if !r.Header.Pulsed {
			notes = append(notes, remark.New("prove.not_pulsed").At(remark.Place{Run: r.Header.Run, Load: l.Name}))
			continue
		}
		some, said := difference(ctx, r, f.Craft.MeasuringModule().RangeUT)
		notes = append(notes, said...)
		if !metered(r) {
			sd = TypedCurrentSD
		}
		current, stated := runCurrent(r)
		level, gradient, away := levelOf(l, current, stated), f.placing(f.Map.Loads[l.Name], foot), 0
		for _, x := range some {
			near, base := f.atSpot(x.Capture, at, foot)
			switch {
			case x.Off || x.Saturated || base:
				continue
			case !near:
				away++
				continue
			}
			o := room.Observation{B: r3.Scale(1/level, x.B), Cov: x.Cov.Scale(1 / (level * level)), Gradient: gradient}
			o.Cov = o.Noise(room.Hyper{PoseDeg: f.PoseDeg, PlaceMM: f.PlaceMM})
			all = append(all, o)
		}
		if away > 0 {
			notes = append(notes, remark.New("prove.another_spot", remark.Values{"captures": away, "reach_mm": ProofReachMM}).At(remark.Place{Run: r.Header.Run}))
		}
	}
	if len(all) == 0 {
		return Estimate{}, 0, notes
	}
	field = pooled(all)
	if l.Kind == survey.LoadCurrent {
		field.Cov = field.Cov.Add(outerScaled(field.Mean, sd*sd))
	}
	return field, len(all), notes
}

// ProvedSteady returns the steady part at a spot, craft frame, microtesla, from
// the readings of the proof runs with everything off: the off levels of pulsed
// captures, and captures of unpowered runs. They are solved with the captures
// of the survey in one least-squares problem, so that background, drift, pose
// and place are treated alike. at and foot are those of ProvedLoad. The bool is
// false if no reading with everything off was captured there, or no set-up has
// a background.
func (f *Findings) ProvedSteady(ctx context.Context, at, foot r3.Vec) (Estimate, bool, error) {
	e := f.from
	if e == nil {
		return Estimate{}, false, nil
	}
	spot := len(e.index.stations)
	obs, offsets := slices.Clone(e.obs), stdmaps.Clone(e.offsets)
	for i, r := range f.Proofs {
		set, borrowed := e.setupOf(r)
		if set < 0 {
			continue
		}
		run := len(f.Runs) + i
		if borrowed {
			offsets[run] = borrowedOffsetUT
		}
		obs = append(obs, e.atRest(ctx, r, at, foot, set, run, spot)...)
	}
	if !slices.ContainsFunc(obs, func(o room.Observation) bool { return o.Station == spot }) {
		return Estimate{}, false, nil
	}
	solved, err := room.Solve(ctx, obs, append(e.priors(), room.Station{}), room.Options{Hyper: e.result.Hyper, OffsetUT: offsets, Fixed: true})
	if err != nil {
		return Estimate{}, false, err
	}
	c, ok := solved.Craft(spot)
	if !ok {
		return Estimate{}, false, nil
	}
	return Estimate{Mean: c.Mean, Cov: c.Cov.Add(excess(solved, obs, spot, e.result.Hyper))}, true, nil
}

// excess returns the covariance to be added to that of the mean of one place,
// where its captures scatter beyond their covariances: near a source that the map
// does not know, a slip of the hand makes more of a difference than it foresees.
// The scatter is that of the residuals, since the field itself differs between
// rooms and directions of the nose.
func excess(solved *room.Result, obs []room.Observation, station int, h room.Hyper) magmath.Mat3 {
	var there []room.Observation
	var weight magmath.Mat3
	for i, o := range obs {
		if o.Station == station {
			rest, _ := solved.Residual(i)
			cov := o.Noise(h)
			there = append(there, room.Observation{B: rest, Cov: cov})
			weight = weight.Add(inverse(cov))
		}
	}
	return pooled(there).Cov.Add(inverse(weight).Scale(-1))
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

// atRest returns what a proof run says with everything off, at the spot and at the
// base station, numbered for the joint problem.
func (e *evaluation) atRest(ctx context.Context, r *logbook.Run, at, foot r3.Vec, set, run, spot int) []room.Observation {
	m := e.f.Craft.MeasuringModule()
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
	gradient := e.result.Gradient(set).Mul(placeShares).Add(e.f.placing(e.f.Map.Steady, foot))
	var out []room.Observation
	for _, x := range some {
		near, base := e.f.atSpot(x.Capture, at, foot)
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
			out = append(out, o)
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
