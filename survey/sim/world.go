package sim

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
	"quietmount/survey"
)

// World is what is really there: the craft's sources and the room around it.
// Nobody surveying it can see inside. It is read only once made, so that
// several runs may share it.
type World struct {
	Craft   *survey.Craft // as described by the builder, who does not know everything
	Magnets []source.Dipole
	Irons   []source.SoftIron
	Wires   []Wire
	Movers  []Mover
	Room    Room
	NoseDeg float64 // magnetic direction of the nose, clockwise seen from above
}

// Wire is a circuit that carries a load's current.
type Wire struct {
	Load    string
	Circuit source.Lead // its CurrentA is the share of the load's current, usually 1
}

// Mover is a magnetic part that a load moves from one end to the other.
type Mover struct {
	Load      string
	Rest, End source.Dipole
}

// State is what the craft is doing.
type State struct {
	Away   bool               // the craft is not there
	Levels map[string]float64 // by load: amperes of a current, 0 to 1 of a mover's way; absent: off
}

// Field returns the true field at p (sensor's place, craft frame) at t seconds of
// the room's clock. NaN on a source.
func (w *World) Field(p r3.Vec, t float64, s State) r3.Vec {
	b := r3.Add(w.Ambient(p), w.Drift(t))
	if s.Away {
		return b
	}
	b = r3.Add(b, w.Steady(p))
	for _, name := range w.loads() {
		if level := s.Levels[name]; level != 0 {
			b = r3.Add(b, w.LoadField(name, level, p))
		}
	}
	return b
}

// Drift returns the room's drift at t seconds of its clock, craft frame.
func (w *World) Drift(t float64) r3.Vec { return w.Room.turned(w.Room.Drift.At(t), w.NoseDeg) }

// Ambient returns the room's field at p without its drift, as the craft lies.
func (w *World) Ambient(p r3.Vec) r3.Vec { return w.Room.Field(p, w.NoseDeg) }

// Steady returns the disturbance at p with everything off: magnets, movers at
// rest, and iron magnetised by the room's field where it lies. The iron does
// not follow the room's drift, nor the fields of the craft's other parts.
func (w *World) Steady(p r3.Vec) r3.Vec {
	var b r3.Vec
	for _, m := range w.Magnets {
		b = r3.Add(b, m.Field(p))
	}
	for _, m := range w.Movers {
		b = r3.Add(b, m.Rest.Field(p))
	}
	for _, s := range w.Irons {
		b = r3.Add(b, s.Induced(w.Ambient(s.AtMM)).Field(p))
	}
	return b
}

// LoadField returns what the named load adds at p: level amperes through its
// wires, or its mover level of the way from rest (0) to end (1).
func (w *World) LoadField(load string, level float64, p r3.Vec) r3.Vec {
	var b r3.Vec
	for _, c := range w.Wires {
		if c.Load == load {
			b = r3.Add(b, r3.Scale(level, c.Circuit.Field(p)))
		}
	}
	for _, m := range w.Movers {
		if m.Load == load {
			b = r3.Add(b, r3.Sub(m.at(level).Field(p), m.Rest.Field(p)))
		}
	}
	return b
}

// at returns the mover part of the way: place and moment change in proportion.
func (m Mover) at(level float64) source.Dipole {
	mix := func(a, b r3.Vec) r3.Vec { return r3.Add(r3.Scale(1-level, a), r3.Scale(level, b)) }
	return source.Dipole{AtMM: mix(m.Rest.AtMM, m.End.AtMM), MomentAm2: mix(m.Rest.MomentAm2, m.End.MomentAm2)}
}

// loads returns the names of the loads that have a field, each once, in order.
func (w *World) loads() []string {
	var names []string
	add := func(name string) {
		if slices.Contains(names, name) {
			return
		}
		names = append(names, name)
	}
	for _, c := range w.Wires {
		add(c.Load)
	}
	for _, m := range w.Movers {
		add(m.Load)
	}
	return names
}

// Turned returns the same craft and room with the nose in another magnetic
// direction.
func (w *World) Turned(noseDeg float64) *World {
	out := *w
	out.NoseDeg = noseDeg
	return &out
}

// AxesOf returns the mapping of m's sensor axes, identity where it is not known.
func AxesOf(m survey.Module) magmath.Mat3 {
	if m.Axes != nil {
		return *m.Axes
	}
	return magmath.Identity()
}
