package evaluate

import (
	"context"
	"fmt"
	stdmaps "maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/remark"
	"quietmount/magmath/room"
	"quietmount/magmath/source"
	"quietmount/survey"
)

// Proved is what the proof runs at one place say, beside what the map foretells.
// Fields are in the craft frame, microtesla, and include in their covariances what
// pose and placement of the settings-down leave open.
type Proved struct {
	Loads    map[string]Estimate // each load at its maximum current, pulsed alone
	Together []Together          // loads that were pulsed together
	Steady   *Estimate           // nil: nothing at rest was captured there, or no set-up has a background
	Captures int                 // settings-down with a load pulsed, alone or with others
	Settings map[string]int      // those of each load alone
	CurrentA map[string]float64  // the largest at which a load was on; absent: moving, or not stated
	Runs     []int               // numbers of the runs that count
	Others   []int               // those of them that another probe than the module made
	Scatter  Scatter
	Off      Departure
	Notes    []remark.Remark
}

// Together is the field of some loads that were pulsed together.
type Together struct {
	Loads  []string  // in the order of the craft file
	Levels []float64 // their currents as part of the maximum, negative: reversed
	Estimate
	Settings int
}

// Reversed returns the loads whose current was against that of the first.
func (t Together) Reversed() []string {
	var out []string
	for i, l := range t.Levels {
		if l*t.Levels[0] < 0 {
			out = append(out, t.Loads[i])
		}
	}
	return out
}

// Scatter is how far the settings-down of a proof scatter.
type Scatter struct {
	Factor float64 // of placement and pose over what was foreseen, 1 or more
	P      float64 // of a scatter so large if the hand is as foreseen; NaN: nothing was set down twice
	SlipMM float64 // the radius of the disc in which they lie: the builder's, or larger
}

// Departure is what was measured less what the map foretells of it. The map does not
// know the proof.
type Departure struct {
	Parts []string // PartSteady, a load's name, or several joined by " + "
	Mean  []r3.Vec
	Cov   *mat.SymDense // of map, slip, pose, noise and currents; three rows a part
}

// PValue returns the probability of a departure at least as large if the map is
// right: that of chi-square for the stacked vector. NaN without parts.
func (d Departure) PValue() float64 {
	n := 3 * len(d.Mean)
	if n == 0 {
		return math.NaN()
	}
	v := mat.NewVecDense(n, nil)
	for i, m := range d.Mean {
		v.SetVec(3*i, m.X)
		v.SetVec(3*i+1, m.Y)
		v.SetVec(3*i+2, m.Z)
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(d.Cov) || chol.SolveVecTo(&x, v) != nil {
		return math.NaN()
	}
	return distuv.ChiSquared{K: float64(n)}.Survival(mat.Dot(v, &x))
}

// Of returns the departure of one part alone; false if it was not measured.
func (d Departure) Of(part string) (Departure, bool) {
	i := slices.Index(d.Parts, part)
	if i < 0 {
		return Departure{}, false
	}
	return Departure{Parts: d.Parts[i : i+1], Mean: d.Mean[i : i+1], Cov: magmath.Block(d.Cov, 3*i, 3*i).Sym()}, true
}

// proofFit is the proof of one place being worked out.
type proofFit struct {
	f      *Findings
	place  ProofPlace
	hyper  room.Hyper // pose and slip as between the settings-down
	runs   []*provedRun
	rest   []provedReading // with everything off, at the place and at the base
	spot   int             // station of the place in the joint problem
	solved *room.Result    // nil: no steady part
	out    *Proved
}

// Proved returns what the proof runs at a place say. The error is that of the joint
// problem of the steady part; what else there is to say is returned with it.
func (f *Findings) Proved(ctx context.Context, place ProofPlace) (*Proved, error) {
	out := &Proved{Loads: map[string]Estimate{}, Settings: map[string]int{}, CurrentA: map[string]float64{}}
	p := &proofFit{f: f, place: place, out: out, hyper: room.Hyper{PoseDeg: f.PoseDeg, PlaceMM: f.Craft.Limits.SlipMM / 2}}
	p.runs, out.Notes = f.pulsedAt(ctx, place)
	offsets := map[int]float64{}
	if e := f.from; e != nil {
		p.spot, offsets = len(e.index.stations), stdmaps.Clone(e.offsets)
		p.rest = e.restingAt(ctx, f.Proofs, place, p.spot, offsets)
	}
	p.count()
	p.scatter()
	loads := p.loads()
	err := p.steady(ctx, offsets)
	p.depart(loads)
	return out, err
}

// count tells how often each load was set down, and who measured.
func (p *proofFit) count() {
	runs := map[int]bool{}
	for _, r := range p.runs {
		p.out.Captures += len(r.readings)
		if r.alone() {
			p.out.Settings[r.names(p.f)[0]] += len(r.readings)
		}
		runs[r.readings[0].setting.run] = true
	}
	for _, o := range p.rest {
		if o.Station == p.spot {
			runs[o.setting.run] = true
		}
	}
	for i, r := range p.f.Proofs {
		if !runs[i] {
			continue
		}
		p.out.Runs = append(p.out.Runs, r.Header.Run)
		if !ByModule(p.f.Craft, r) {
			p.out.Others = append(p.out.Others, r.Header.Run)
		}
		own, _ := runCurrent(r)
		for _, l := range p.f.Craft.Loads {
			a := r.Header.Together[l.Name]
			if l.Name == r.Header.State {
				a = own
			}
			if a = math.Abs(a); a > 0 && l.Kind == survey.LoadCurrent {
				p.out.CurrentA[l.Name] = max(p.out.CurrentA[l.Name], a)
			}
		}
	}
}

// Settings-down scatter more than foreseen where so much or more has this
// probability at most; the largest factor that is told.
const (
	scatterP      = 0.05
	mostScattered = 20
)

// scatter compares the settings-down of each run with one another: placement and
// pose alone tell them apart. Where they scatter more than foreseen, both count as
// scattered as that.
//
// Source: R. C. Paule, J. Mandel, Journal of Research of the National Bureau of
// Standards 87 (1982) 377, for the factor at which chi-square has its mean.
func (p *proofFit) scatter() {
	groups := map[int][]provedReading{}
	for _, o := range p.rest {
		if o.Station == p.spot {
			groups[-1-o.setting.run] = append(groups[-1-o.setting.run], o)
		}
	}
	for i, r := range p.runs {
		groups[i] = r.readings
	}
	keys := slices.Sorted(stdmaps.Keys(groups))
	freedom := 0
	for _, g := range groups {
		freedom += 3 * (len(g) - 1)
	}
	chi := func(factor float64) float64 {
		sum, h := 0.0, p.scaled(factor)
		for _, k := range keys {
			sum += spread(groups[k], h)
		}
		return sum
	}
	s := Scatter{Factor: 1, P: math.NaN()}
	if freedom > 0 {
		s.P = distuv.ChiSquared{K: float64(freedom)}.Survival(chi(1))
	}
	if s.P < scatterP {
		low, high := 0.0, math.Log(mostScattered)
		for range 40 {
			if mid := (low + high) / 2; chi(math.Exp(mid)) > float64(freedom) {
				low = mid
			} else {
				high = mid
			}
		}
		s.Factor = math.Exp((low + high) / 2)
	}
	p.hyper = p.scaled(s.Factor)
	s.SlipMM = 2 * p.hyper.PlaceMM
	p.out.Scatter = s
}

// scaled returns pose and placement times a factor.
func (p *proofFit) scaled(factor float64) room.Hyper {
	h := p.hyper
	h.PoseDeg, h.PlaceMM = factor*h.PoseDeg, factor*h.PlaceMM
	return h
}

// spread returns the sum of squares of readings about their weighted mean, each over
// its covariance.
func spread(all []provedReading, h room.Hyper) float64 {
	mean, _, _ := weighted(all, h)
	sum := 0.0
	for _, o := range all {
		d := r3.Sub(o.B, mean)
		sum += r3.Dot(d, inverse(o.Noise(h)).Apply(d))
	}
	return sum
}

// weighted returns the mean of readings by their precision, its covariance, and the
// weight of each.
func weighted(all []provedReading, h room.Hyper) (mean r3.Vec, cov magmath.Mat3, weights []magmath.Mat3) {
	weights = make([]magmath.Mat3, len(all))
	var sum magmath.Mat3
	for i, o := range all {
		weights[i] = inverse(o.Noise(h))
		sum = sum.Add(weights[i])
	}
	cov = inverse(sum)
	for i, o := range all {
		weights[i] = cov.Mul(weights[i])
		mean = r3.Add(mean, weights[i].Apply(o.B))
	}
	return mean, cov, weights
}

// provedPart is the field of one load, or of some together, with the weight that each
// setting-down has in it.
type provedPart struct {
	run *provedRun // the first of it
	Estimate
	weight  map[setting]magmath.Mat3
	reading map[setting]provedReading
}

// loads pools the runs of each load, and of each set of loads together.
func (p *proofFit) loads() []provedPart {
	var order []string
	groups := map[string][]*provedRun{}
	for _, r := range p.runs {
		key := partName(r.names(p.f))
		if !r.alone() {
			key += fmt.Sprintf(" %.3f", r.levels)
		}
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], r)
	}
	var out []provedPart
	for _, key := range order {
		part := p.pool(groups[key])
		out = append(out, part)
		names := part.run.names(p.f)
		if part.run.alone() {
			p.out.Loads[names[0]] = part.Estimate
			continue
		}
		p.out.Together = append(p.out.Together, Together{Loads: names, Levels: part.run.levels, Estimate: part.Estimate, Settings: len(part.weight)})
	}
	return out
}

// pool returns the mean of runs of the same loads, each with currents of its own.
func (p *proofFit) pool(runs []*provedRun) provedPart {
	out := provedPart{run: runs[0], weight: map[setting]magmath.Mat3{}, reading: map[setting]provedReading{}}
	means, inverses := make([]r3.Vec, len(runs)), make([]magmath.Mat3, len(runs))
	own := make([][]magmath.Mat3, len(runs))
	var sum magmath.Mat3
	for i, r := range runs {
		var cov magmath.Mat3
		means[i], cov, own[i] = weighted(r.readings, p.hyper)
		inverses[i] = inverse(cov.Add(p.currents(r, means[i])))
		sum = sum.Add(inverses[i])
	}
	out.Cov = inverse(sum)
	for i, r := range runs {
		share := out.Cov.Mul(inverses[i])
		out.Mean = r3.Add(out.Mean, share.Apply(means[i]))
		for k, o := range r.readings {
			out.weight[o.setting], out.reading[o.setting] = share.Mul(own[i][k]), o
		}
	}
	return out
}

// currents returns what the currents of a run leave open of its mean.
func (p *proofFit) currents(r *provedRun, mean r3.Vec) magmath.Mat3 {
	if r.alone() {
		return outerScaled(mean, r.sd[0]*r.sd[0])
	}
	var cov magmath.Mat3
	for i, name := range r.names(p.f) {
		if m := p.f.FieldOf(name); m != nil {
			b, _ := m.At(p.sensor())
			cov = cov.Add(outerScaled(b, r.sd[i]*r.sd[i]*r.levels[i]*r.levels[i]))
		}
	}
	return cov
}

// sensor returns where the module's sensor is meant to be.
func (p *proofFit) sensor() r3.Vec { return p.f.Craft.Module.SensorAt(p.place.Foot, 0) }

// steady solves the readings at rest with the captures of the survey in one
// least-squares problem, so that background, drift, pose and place are treated alike.
func (p *proofFit) steady(ctx context.Context, offsets map[int]float64) error {
	if !slices.ContainsFunc(p.rest, func(o provedReading) bool { return o.Station == p.spot }) {
		return nil
	}
	e := p.f.from
	h := e.result.Hyper
	h.OffsetUT = e.runsApartUT(ctx)
	obs := slices.Clone(e.obs)
	for _, o := range p.rest {
		if o.Station == p.spot {
			// The hand of the proof instead of that of the survey.
			wider := p.hyper.PoseDeg*p.hyper.PoseDeg - h.PoseDeg*h.PoseDeg
			if wider > 0 {
				o.Cov = o.Cov.Add(room.PoseCov(o.B, math.Sqrt(wider)))
			}
			o.Gradient = o.Gradient.Scale(p.hyper.PlaceMM / h.PlaceMM)
		}
		obs = append(obs, o.Observation)
	}
	var err error
	p.solved, err = room.Solve(ctx, obs, append(e.priors(), room.Station{}), room.Options{Hyper: h, OffsetUT: offsets, Fixed: true})
	if err != nil {
		return err
	}
	if c, ok := p.solved.Craft(p.spot); ok {
		p.out.Steady = &Estimate{Mean: c.Mean, Cov: c.Cov}
	}
	return nil
}

// depart puts what was measured beside what the map foretells.
func (p *proofFit) depart(parts []provedPart) {
	d := &p.out.Off
	var blocks []magmath.Mat3
	add := func(name string, off r3.Vec, cov magmath.Mat3) {
		d.Parts, d.Mean, blocks = append(d.Parts, name), append(d.Mean, off), append(blocks, cov)
	}
	var told []provedPart
	for _, part := range parts {
		if mean, ok := p.foretold(part.run); ok {
			told = append(told, part)
			add(partName(part.run.names(p.f)), r3.Sub(part.Mean, mean), part.Cov)
		}
	}
	steady := -1
	if p.out.Steady != nil && p.f.Map.Steady != nil {
		steady = len(blocks)
		mean, cov := p.foretoldSteady()
		add(PartSteady, r3.Sub(p.out.Steady.Mean, mean), cov.Add(p.warmth()))
	}
	if len(blocks) == 0 {
		return
	}
	d.Cov = magmath.BlockNoise(blocks)
	p.addMaps(told)
	if steady >= 0 {
		_, _, weights := weighted(p.resting(), p.hyper)
		for i, part := range told {
			magmath.AddBlock(d.Cov, 3*i, 3*steady, p.shared(part, weights))
		}
	}
}

// resting returns the readings at rest at the place.
func (p *proofFit) resting() []provedReading {
	return slices.DeleteFunc(slices.Clone(p.rest), func(o provedReading) bool { return o.Station != p.spot })
}

// foretold returns the map's field of the loads of a run; false if the map lacks one
// of them.
func (p *proofFit) foretold(r *provedRun) (r3.Vec, bool) {
	var sum r3.Vec
	for i, name := range r.names(p.f) {
		m := p.f.FieldOf(name)
		if m == nil {
			return sum, false
		}
		b, _ := m.At(p.sensor())
		sum = r3.Add(sum, r3.Scale(r.levels[i], b))
	}
	return sum, true
}

// addMaps adds the uncertainty of the maps of the loads, which parts that have a load
// in common share.
func (p *proofFit) addMaps(told []provedPart) {
	for l, load := range p.f.Craft.Loads {
		m := p.f.FieldOf(load.Name)
		if m == nil {
			continue
		}
		_, cov := m.At(p.sensor())
		for i, a := range told {
			for j, b := range told[i:] {
				if w := a.run.level(l) * b.run.level(l); w != 0 {
					magmath.AddBlock(p.out.Off.Cov, 3*i, 3*(i+j), cov.Scale(w))
				}
			}
		}
	}
}

// level returns how far a load is on in a run, as part of its maximum; 0: off.
func (r *provedRun) level(load int) float64 {
	if i := slices.Index(r.loads, load); i >= 0 {
		return r.levels[i]
	}
	return 0
}

// foretoldSteady returns what the map foretells of the reading of the steady part,
// with the covariance of the reading less that: both had the same background
// subtracted.
func (p *proofFit) foretoldSteady() (r3.Vec, magmath.Mat3) {
	e, own := p.f.from, p.out.Steady.Cov
	m, ok := p.f.Map.Steady.(*fieldmap.Map)
	if !ok {
		mean, cov := p.f.Map.Steady.At(p.sensor())
		return mean, cov.Add(own)
	}
	keys := e.steadyKeys()
	n := 3 * len(keys)
	_, joint := p.solved.Joint(append(keys, room.Key{Station: p.spot, Load: room.NoLoad}))
	if n != 3*m.Stations() {
		mean, cov := m.At(p.sensor())
		return mean, cov.Add(own)
	}
	across := mat.NewDense(3, n, nil)
	for i := range n {
		for c := range 3 {
			across.Set(c, i, joint.At(n+c, i))
		}
	}
	return m.Foretell(p.sensor(), own, across)
}

// steadyKeys returns the unknowns behind the map of the steady part, in its order.
func (e *evaluation) steadyKeys() []room.Key {
	var keys []room.Key
	for s, p := range e.index.stations {
		if _, ok := e.steadyAt(s); ok && !p.IsBase {
			keys = append(keys, room.Key{Station: s, Load: room.NoLoad})
		}
	}
	return keys
}

// warmSD is the relative standard deviation of a motor's steady field from one
// measurement to another: 0.2 per cent a kelvin, each anywhere within 40 K.
const warmSD = 0.002 * 40 * 0.4082482904638630 // the difference of two uniform numbers has the standard deviation 1/sqrt(6)

// warmth returns what the temperature of the motors leaves open of the steady part.
func (p *proofFit) warmth() magmath.Mat3 {
	var cov magmath.Mat3
	on := p.f.Map.SourceModels[survey.StateUnpowered]
	if on == nil {
		return cov
	}
	for _, s := range on.Found.Sources {
		part := slices.IndexFunc(p.f.Craft.Parts, func(q survey.Part) bool { return q.Name == s.Name && q.Load != "" })
		if s.Name != "" && part >= 0 && len(s.PathMM) == 0 {
			b := source.Dipole{AtMM: s.AtMM, MomentAm2: s.MomentAm2}.Field(p.sensor())
			cov = cov.Add(outerScaled(b, warmSD*warmSD))
		}
	}
	return cov
}

// shared returns the covariance of a part with the steady part: of settings-down that
// told both, the slip and the pose are the same.
func (p *proofFit) shared(part provedPart, weights []magmath.Mat3) magmath.Mat3 {
	var cov magmath.Mat3
	turn := p.hyper.PoseDeg * math.Pi / 180
	for i, o := range p.resting() {
		w, ok := part.weight[o.setting]
		if !ok {
			continue
		}
		q := part.reading[o.setting]
		slip := q.Gradient.Mul(o.Gradient.Transpose()).Scale(p.hyper.PlaceMM * p.hyper.PlaceMM)
		pose := magmath.Cross(q.B).Mul(magmath.Cross(o.B).Transpose()).Scale(turn * turn)
		cov = cov.Add(w.Mul(slip.Add(pose)).Mul(weights[i].Transpose()))
	}
	return cov
}

// partName returns the name of some loads together.
func partName(loads []string) string { return strings.Join(loads, " + ") }
