package survey

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/gonum/graph"
	"gonum.org/v1/gonum/graph/simple"
	"gonum.org/v1/gonum/graph/topo"
)

// The two states that are not a load's name.
const (
	StateBackground = "background" // the craft taken away
	StateUnpowered  = "unpowered"  // the craft in place, everything off
)

// MaxLoads bounds the loads of a craft. Twenty loads have at most 1458 sets that
// can be on together (3^6 x 2).
// Source: J. W. Moon, L. Moser, On cliques in graphs, Israel Journal of
// Mathematics 3 (1965) 23-28.
const MaxLoads = 20

// StateError says that a craft has no state called Name.
type StateError struct {
	Name    string
	Known   []string
	Suggest string // the state that was probably meant, or empty
}

// Error returns the message with the states that the craft has.
func (e *StateError) Error() string {
	s := fmt.Sprintf("no state is called %q", e.Name)
	if e.Suggest != "" {
		s += fmt.Sprintf("; did you mean %q?", e.Suggest)
	}
	quoted := make([]string, len(e.Known))
	for i, name := range e.Known {
		quoted[i] = fmt.Sprintf("%q", name)
	}
	return s + fmt.Sprintf(" (states: %s)", strings.Join(quoted, ", "))
}

// States returns the states that can be measured: background, unpowered and each
// load.
func (c *Craft) States() []string {
	states := []string{StateBackground, StateUnpowered}
	for _, l := range c.Loads {
		states = append(states, l.Name)
	}
	return states
}

// State returns nil if the craft has a state called name, else a *StateError.
func (c *Craft) State(name string) error {
	known := c.States()
	if slices.Contains(known, name) {
		return nil
	}
	return &StateError{Name: name, Known: known, Suggest: Nearest(name, known)}
}

// LoadByName returns the load called name; false if there is none.
func (c *Craft) LoadByName(name string) (Load, bool) {
	for _, l := range c.Loads {
		if l.Name == name {
			return l, true
		}
	}
	return Load{}, false
}

// Together reports whether the loads a and b can be on at the same time: one
// of them names the other, or they are the same load.
func (c *Craft) Together(a, b string) bool {
	la, oka := c.LoadByName(a)
	lb, okb := c.LoadByName(b)
	return oka && okb && (a == b || slices.Contains(la.TogetherWith, b) || slices.Contains(lb.TogetherWith, a))
}

// Combinations returns the largest sets of loads that can all be on at the same
// time: every two of them can, and no further load can with all of them. A load
// that names no other is a set of its own. Names in a set, and the sets, stand in
// the order of the file; nil for no loads. They are the maximal cliques of the
// graph of Together.
func (c *Craft) Combinations() [][]string {
	g := simple.NewUndirectedGraph()
	for i, a := range c.Loads {
		g.AddNode(simple.Node(i))
		for j := range i {
			if c.Together(a.Name, c.Loads[j].Name) {
				g.SetEdge(simple.Edge{F: simple.Node(j), T: simple.Node(i)})
			}
		}
	}
	sets := topo.BronKerbosch(g)
	byID := func(a, b graph.Node) int { return cmp.Compare(a.ID(), b.ID()) }
	for _, set := range sets {
		slices.SortFunc(set, byID)
	}
	slices.SortFunc(sets, func(a, b []graph.Node) int { return slices.CompareFunc(a, b, byID) })
	var out [][]string
	for _, set := range sets {
		names := make([]string, len(set))
		for i, n := range set {
			names[i] = c.Loads[n.ID()].Name
		}
		out = append(out, names)
	}
	return out
}
