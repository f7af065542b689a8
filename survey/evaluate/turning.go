package evaluate

import (
	"context"
	"fmt"
	"slices"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/room"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Turning is the split of the steady part into permanent and induced (soft
// iron), from runs with the nose in several directions.
type Turning struct {
	NosesDeg     []float64     // directions with a background and an unpowered run
	InducedAtDeg []float64     // directions of the nose for which the stations' induced parts are stated; several if not all stations were captured with the first
	Stations     int           // split
	Why          remark.Remark // what was split, or why it cannot be split
}

// takePermanent splits the steady part of every station captured with the nose
// in directions that tell permanent from induced. Each direction is solved by
// itself, with its own background: the room turns with the nose.
func (e *evaluation) takePermanent(ctx context.Context) {
	groups := e.noses()
	t := &Turning{}
	for _, g := range groups {
		t.NosesDeg = append(t.NosesDeg, g.deg)
	}
	e.f.Turning = t
	switch {
	case !slices.ContainsFunc(e.f.Stations, func(s StationFinding) bool { return s.Steady != nil }):
		e.f.Turning = nil
		return
	case len(groups) == 0:
		t.Why = remark.New("evaluate.nose_unknown")
		return
	case len(groups) == 1:
		t.Why = remark.New("evaluate.one_nose")
		return
	}
	at := map[int][]heading.Turned{}
	for _, g := range groups {
		if err := e.addTurned(ctx, at, g); err != nil {
			t.Why = remark.New("evaluate.split_failed", remark.Values{"cause": err})
			return
		}
	}
	for i := range e.f.Stations {
		e.split(&e.f.Stations[i], at, t)
	}
	if t.Stations == 0 {
		t.Why = remark.New("evaluate.noses_not_opposite", remark.Values{"noses_deg": t.NosesDeg})
		return
	}
	t.Why = remark.New("evaluate.split", remark.Values{"noses_deg": t.NosesDeg, "stations": t.Stations, "induced_deg": t.InducedAtDeg})
}

// noseGroup is the set-ups with the nose in one direction.
type noseGroup struct {
	deg   float64
	rooms []int
}

// noses returns the directions in which both a background and the unpowered craft
// were captured, in order of the runs.
func (e *evaluation) noses() []noseGroup {
	var out []noseGroup
	for i, s := range e.setups {
		if s.Nose == nil || !e.background[i] || !s.has(func(h logbook.Header) bool { return h.State == survey.StateUnpowered }) {
			continue
		}
		k := slices.IndexFunc(out, func(g noseGroup) bool { return !logbook.NosesDiffer(&g.deg, s.Nose) })
		if k < 0 {
			out = append(out, noseGroup{deg: *s.Nose})
			k = len(out) - 1
		}
		out[k].rooms = append(out[k].rooms, i)
	}
	return out
}

// addTurned solves the captures of one direction, with the noise that all of
// them together show.
func (e *evaluation) addTurned(ctx context.Context, at map[int][]heading.Turned, g noseGroup) error {
	var obs []room.Observation
	craft := map[int]bool{}
	for _, o := range e.obs {
		if slices.Contains(g.rooms, o.Room) {
			obs = append(obs, o)
			craft[o.Station] = craft[o.Station] || o.Craft && !o.Pulsed
		}
	}
	r, err := room.Solve(ctx, obs, e.priors(), room.Options{Hyper: e.result.Hyper, OffsetUT: e.offsets, Fixed: true})
	if err != nil {
		return fmt.Errorf("nose at %.0f degrees: %w", g.deg, err)
	}
	for s := range e.index.stations {
		if c, ok := r.Craft(s); ok && craft[s] {
			at[s] = append(at[s], heading.Turned{NoseDeg: g.deg, Mean: c.Mean, Cov: c.Cov})
		}
	}
	return nil
}

func (e *evaluation) split(s *StationFinding, at map[int][]heading.Turned, t *Turning) {
	for i, p := range e.index.stations {
		if p.Name != s.Station.Name || p.At != s.Station.At {
			continue
		}
		parts, err := heading.Permanent(at[i])
		if err != nil { // these directions do not tell them apart
			return
		}
		s.Permanent = &Estimate{Mean: parts.Permanent, Cov: parts.PermanentCov}
		s.Induced = &Estimate{Mean: parts.Induced, Cov: parts.InducedCov}
		s.InducedAtDeg = parts.NoseDeg
		if !slices.Contains(t.InducedAtDeg, parts.NoseDeg) {
			t.InducedAtDeg = append(t.InducedAtDeg, parts.NoseDeg)
		}
		t.Stations++
	}
}
