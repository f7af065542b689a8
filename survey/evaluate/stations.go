package evaluate

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/magmath/room"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// report fills the findings from what was solved.
func (e *evaluation) report(ctx context.Context) {
	e.takeLoads()
	e.takeMap(ctx)
	e.takeStations()
	e.takePermanent(ctx)
	e.takeRooms()
	e.takeDrift()
	e.f.PoseDeg, e.f.PlaceMM = e.result.Hyper.PoseDeg, e.result.Hyper.PlaceMM
	e.f.Basis = BasisMagnitude
	if slices.ContainsFunc(e.f.Stations, func(s StationFinding) bool { return s.Steady != nil }) {
		e.f.Basis = BasisVector
	}
	e.remark()
}

func (e *evaluation) takeMap(ctx context.Context) {
	m := &Map{Loads: map[string]Field{}, Kernels: map[string]string{}, SourceModels: map[string]*SourceModel{}}
	if e.maps.steady != nil {
		m.Steady = e.maps.steady
		m.SourceModels[survey.StateUnpowered] = e.maps.on[room.NoLoad]
		m.Kernels["steady"] = e.maps.steady.Name()
	} else if byLength, ok := e.magnitudeMap(ctx); ok {
		m.Steady = byLength
		m.Kernels["steady"] = "harmonic, sources below the surface; from magnitudes alone"
	}
	for i, l := range e.f.Craft.Loads {
		if lm := e.maps.loads[i]; lm != nil {
			m.Loads[l.Name] = lm
			m.SourceModels[l.Name] = e.maps.on[i]
			if sd := e.currentSD(i); sd > 0 {
				m.Loads[l.Name] = Scaled{lm, sd}
			}
			m.Kernels[l.Name] = lm.Name()
		}
	}
	for _, set := range e.f.Craft.Combinations() {
		set = slices.DeleteFunc(slices.Clone(set), func(n string) bool { return m.Loads[n] == nil })
		if len(set) > 0 && !slices.ContainsFunc(m.Combinations, func(o []string) bool { return slices.Equal(o, set) }) {
			m.Combinations = append(m.Combinations, set)
		}
	}
	if l, ok := leftOutOf(e.maps.steady); ok {
		e.f.LeftOut["steady"] = l
	}
	if l, ok := leftOutOf(e.maps.loads...); ok {
		e.f.LeftOut["shifting"] = l
	}
	if m.Steady != nil || len(m.Loads) > 0 {
		e.f.Map = m
	}
}

// takeStations reports every station captured with the craft in place, in
// the order of the craft file, others after it by name.
func (e *evaluation) takeStations() {
	order := map[string]int{}
	for i, s := range e.f.Craft.Stations() {
		order[s.Name] = i + 1
	}
	sampler := e.f.NewMounted()
	for i, p := range e.index.stations {
		s, on := e.station(i, sampler)
		switch {
		case p.IsBase && e.f.Base == nil:
			e.f.Base = &s
		case !p.IsBase && on:
			e.f.Stations = append(e.f.Stations, s)
		}
	}
	slices.SortStableFunc(e.f.Stations, func(a, b StationFinding) int {
		i, j := order[a.Station.Name], order[b.Station.Name]
		switch {
		case i == 0 && j == 0:
			return cmp.Compare(a.Station.Name, b.Station.Name)
		case i == 0:
			return 1
		case j == 0:
			return -1
		}
		return i - j
	})
}

// station returns the finding of station i; false where the craft was never there.
func (e *evaluation) station(i int, sampler *Mounted) (StationFinding, bool) {
	p := e.index.stations[i]
	s := StationFinding{Station: p.Station, Sensor: p.Sensor, Loads: map[string]Estimate{}}
	on := false
	for _, k := range e.readAt[i] {
		r := &e.readings[k]
		if r.Off {
			continue
		}
		s.Captures++
		if r.Capture.Visit == logbook.VisitRepeat {
			s.Repeats++
		}
		s.Saturated = s.Saturated || r.Saturated
		on = on || r.run.Header.State != survey.StateBackground
	}
	if est, ok := e.steadyAt(i); ok {
		s.Steady = &est
		err, _ := sampler.SteadyError(sampler.At(est, e.f.FieldOf(PartSteady), p.Sensor))
		s.SteadyError = &err
	}
	e.shifting(i, &s, sampler)
	e.magnitude(i, &s)
	s.Readings = e.loadReadings(i)
	return s, on
}

// shifting sets the worst combination of the loads measured at the station.
func (e *evaluation) shifting(i int, s *StationFinding, sampler *Mounted) {
	for l, load := range e.f.Craft.Loads {
		est, ok := e.loadAt(i, l)
		switch {
		case ok:
			s.Loads[load.Name] = est
		case e.f.Loads[l].Measured:
			s.MissingLoads = append(s.MissingLoads, load.Name)
		}
	}
	if len(s.Loads) == 0 {
		return
	}
	w := NewWorst(e.f.Craft, s.Loads)
	loads := make([]heading.Load, len(w.Names))
	for k, n := range w.Names {
		at := Estimate{Mean: s.Loads[n].Mean, Cov: s.Loads[n].Cov.Add(e.sharedCovariance(i, e.load(n)))}
		loads[k] = sampler.At(at, e.f.FieldOf(n), s.Sensor)
	}
	err, combo := sampler.ErrorOf(loads, w)
	s.ShiftingError = &err
	sum := Sum(loads, combo)
	s.Shifting, s.Combination, s.Reversed = &sum, w.NamesOf(combo), w.ReversedOf(combo)
}

// magnitude sets the difference of magnitudes: against the background where
// there is one, else against the reference field.
func (e *evaluation) magnitude(i int, s *StationFinding) {
	var sum float64
	n, where := 0, -1
	for _, o := range e.of(i) {
		if o.Craft && o.Load == room.NoLoad && !o.Pulsed {
			sum += r3.Norm(o.B)
			n, where = n+1, o.Room
		}
	}
	if n == 0 {
		return
	}
	s.Against = AgainstReference
	d := sum/float64(n) - e.f.Reference.F/1000
	if s.Steady != nil {
		if bg, ok := e.result.Field(where, s.Sensor); ok {
			s.Against = AgainstBackground
			d = r3.Norm(r3.Add(bg.Mean, s.Steady.Mean)) - r3.Norm(bg.Mean)
		}
	}
	if !math.IsNaN(d) {
		s.MagnitudeDifference = &d
	}
}

// Worst is the sets of loads that can be on together.
type Worst struct {
	Names  []string
	Combos [][]int // every subset of every set that can be on together, each once; ^k: load k with its current reversed
}

// mostTogether bounds the subsets of a set that are looked at: beyond it only
// the whole set, each load alone and each pair.
const mostTogether = 8

// NewWorst returns the combinations of those loads of the craft that are keys
// of at, in the order of the craft file.
func NewWorst[T any](c *survey.Craft, at map[string]T) Worst {
	var w Worst
	for _, l := range c.Loads {
		if _, ok := at[l.Name]; ok {
			w.Names = append(w.Names, l.Name)
		}
	}
	seen := map[string]bool{}
	add := func(set []int) {
		if key := fmt.Sprint(set); len(set) > 0 && !seen[key] {
			seen[key] = true
			w.Combos = append(w.Combos, set)
		}
	}
	for _, names := range c.Combinations() {
		var set []int
		for _, n := range names {
			if k := slices.Index(w.Names, n); k >= 0 {
				set = append(set, k)
			}
		}
		for _, s := range subsets(set) {
			for _, r := range reversed(c, w.Names, s) {
				add(r)
			}
		}
	}
	return w
}

// reversed returns a combination with the currents of the loads that can reverse in
// both directions: ^k stands for load k reversed. Where all of them can, the first
// stays as it is, since a field and its opposite turn a compass as far.
func reversed(c *survey.Craft, names []string, set []int) [][]int {
	reverses := func(k int) bool {
		l, _ := c.LoadByName(names[k])
		return l.Reverses
	}
	allCan := !slices.ContainsFunc(set, func(k int) bool { return !reverses(k) })
	out := [][]int{set}
	for i, k := range set {
		if i == 0 && allCan || !reverses(k) {
			continue
		}
		for _, s := range slices.Clone(out) {
			s = slices.Clone(s)
			s[i] = ^k
			out = append(out, s)
		}
	}
	return out
}

// NamesOf returns the names of the loads of a combination.
func (w Worst) NamesOf(combo []int) []string {
	var out []string
	for _, k := range combo {
		out = append(out, w.Names[heading.Loaded(k)])
	}
	return out
}

// ReversedOf returns the names of those loads of a combination whose current is
// reversed in it.
func (w Worst) ReversedOf(combo []int) []string {
	var out []string
	for _, k := range combo {
		if k < 0 {
			out = append(out, w.Names[heading.Loaded(k)])
		}
	}
	return out
}

func subsets(set []int) [][]int {
	var out [][]int
	if len(set) > mostTogether {
		out = append(out, set)
		for i, a := range set {
			out = append(out, []int{a})
			for _, b := range set[:i] {
				out = append(out, []int{b, a})
			}
		}
		return out
	}
	for bits := 1; bits < 1<<len(set); bits++ {
		var s []int
		for i, k := range set {
			if bits>>i&1 == 1 {
				s = append(s, k)
			}
		}
		out = append(out, s)
	}
	return out
}
