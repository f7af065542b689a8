package evaluate

import (
	"context"
	"fmt"
	"slices"

	"quietmount/magmath/heading"
	"quietmount/magmath/room"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Turning is what runs with the nose in several directions tell of the steady
// part: how much is permanent and how much is induced in soft iron.
type Turning struct {
	NosesDeg     []float64 // directions with a background and an unpowered run
	InducedAtDeg []float64 // the noses for which the induced parts of the stations are stated: more than one where not all were captured with the first
	Stations     int       // split
	Why          string    // a plain sentence: what was split, or what cannot be told
}

// Words for a steady part that was not split.
const (
	oneNose     = "The nose pointed in one direction only: what part of the steady disturbance is permanent (magnets) and what is induced in soft iron and turns with the heading cannot be told. A background and an unpowered run with the nose turned by 180 degrees tell it."
	unknownNose = "The direction of the nose is not known: what part of the steady disturbance is permanent (magnets) and what is induced in soft iron and turns with the heading cannot be told. Give --nose-deg, and capture a background and an unpowered run turned by 180 degrees besides."
)

// takePermanent splits the steady part of every station captured with the nose
// in directions that tell permanent from induced. Each direction is solved by
// itself, with its own background: the room turns with the nose.
func (e *Evaluation) takePermanent(ctx context.Context) {
	groups := e.noses()
	t := &Turning{}
	for _, g := range groups {
		t.NosesDeg = append(t.NosesDeg, g.deg)
	}
	e.F.Turning = t
	switch {
	case !slices.ContainsFunc(e.F.Stations, func(s StationFinding) bool { return s.Steady != nil }):
		e.F.Turning = nil
		return
	case len(groups) == 0:
		t.Why = unknownNose
		return
	case len(groups) == 1:
		t.Why = oneNose
		return
	}
	at := map[int][]heading.Turned{}
	for _, g := range groups {
		if err := e.addTurned(ctx, at, g); err != nil {
			t.Why = fmt.Sprintf("What part of the steady disturbance is permanent and what is induced could not be worked out: %v.", err)
			return
		}
	}
	for i := range e.F.Stations {
		e.split(&e.F.Stations[i], at, t)
	}
	if t.Stations == 0 {
		t.Why = fmt.Sprintf("The nose pointed to %s: no station was captured in two opposite directions, so that permanent and induced cannot be told apart. Turn the bench by 180 degrees and capture the same stations, a background first.", degreesList(t.NosesDeg))
		return
	}
	t.Why = fmt.Sprintf("The nose pointed to %s: at %d stations the steady part is split into permanent, and induced with the nose at %s. What the vertical field induces counts as permanent: no turn of the bench tells it from a magnet.", degreesList(t.NosesDeg), t.Stations, t.inducedAt())
}

// inducedAt says for which nose the induced parts are stated.
func (t *Turning) inducedAt() string {
	words := degreesList(t.InducedAtDeg)
	if len(t.InducedAtDeg) > 1 {
		words += ", as captured first at each"
	}
	return words
}

func degreesList(deg []float64) string {
	out := ""
	for i, d := range deg {
		switch {
		case i > 0 && i == len(deg)-1:
			out += " and "
		case i > 0:
			out += ", "
		}
		out += fmt.Sprintf("%.0f", d)
	}
	return out + " degrees"
}

// noseGroup is the set-ups with the nose in one direction.
type noseGroup struct {
	deg   float64
	rooms []int
}

// noses are the directions in which both a background and the unpowered craft
// were captured, in order of the runs.
func (e *Evaluation) noses() []noseGroup {
	var out []noseGroup
	for i, s := range e.Setups {
		if s.Nose == nil || !e.Background[i] || !s.has(func(h logbook.Header) bool { return h.State == survey.StateUnpowered }) {
			continue
		}
		k := slices.IndexFunc(out, func(g noseGroup) bool { return !NoseDiffer(&g.deg, s.Nose) })
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
func (e *Evaluation) addTurned(ctx context.Context, at map[int][]heading.Turned, g noseGroup) error {
	var obs []room.Observation
	craft := map[int]bool{}
	for _, o := range e.Obs {
		if slices.Contains(g.rooms, o.Room) {
			obs = append(obs, o)
			craft[o.Station] = craft[o.Station] || o.Craft && !o.Pulsed
		}
	}
	r, err := room.Solve(ctx, obs, e.Priors(), room.Options{Hyper: e.Result.Hyper, OffsetUT: e.Offsets, Fixed: true})
	if err != nil {
		return fmt.Errorf("nose at %.0f degrees: %w", g.deg, err)
	}
	for s := range e.Index.Stations {
		if c, ok := r.Craft(s); ok && craft[s] {
			at[s] = append(at[s], heading.Turned{NoseDeg: g.deg, Mean: c.Mean, Cov: c.Cov})
		}
	}
	return nil
}

func (e *Evaluation) split(s *StationFinding, at map[int][]heading.Turned, t *Turning) {
	for i, p := range e.Index.Stations {
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
