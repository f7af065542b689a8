package survey

import (
	"fmt"
	"math/bits"
	"slices"
	"strings"
)

const (
	CraftMostLoads        = 64
	CraftMostCombinations = 1000
	craftMostSteps        = 200_000 // of the search for them
)

// StateError says that a craft has no state called Name.
type StateError struct {
	Name    string
	Known   []string
	Suggest string // the state that was probably meant, or empty
}

// Error lists the states there are.
func (e *StateError) Error() string {
	s := fmt.Sprintf("no state is called %q", e.Name)
	if e.Suggest != "" {
		s += fmt.Sprintf("; did you mean %q?", e.Suggest)
	}
	return s + fmt.Sprintf(" (states: %s)", craftQuoted(e.Known))
}

func craftQuoted(names []string) string {
	var out strings.Builder
	for i, n := range names {
		if i > 0 {
			out.WriteString(", ")
		}
		out.WriteString(fmt.Sprintf("%q", n))
	}
	return out.String()
}

// States are the states that can be measured: background, unpowered, and each
// load.
func (c *Craft) States() []string {
	states := []string{StateBackground, StateUnpowered}
	for _, l := range c.Loads {
		states = append(states, l.Name)
	}
	return states
}

// State is nil if the craft has a state called name, else a *StateError.
func (c *Craft) State(name string) error {
	known := c.States()
	if slices.Contains(known, name) {
		return nil
	}
	return &StateError{Name: name, Known: known, Suggest: Nearest(name, known)}
}

// LoadByName is the load called name.
func (c *Craft) LoadByName(name string) (Load, bool) {
	i := c.loadIndex(name)
	if i < 0 {
		return Load{}, false
	}
	return c.Loads[i], true
}

func (c *Craft) loadIndex(name string) int {
	return slices.IndexFunc(c.Loads, func(l Load) bool { return l.Name == name })
}

// Together reports whether the loads a and b can be on at the same time: one
// of them names the other, or they are the same load.
func (c *Craft) Together(a, b string) bool {
	la, oka := c.LoadByName(a)
	lb, okb := c.LoadByName(b)
	return oka && okb && (a == b || slices.Contains(la.TogetherWith, b) || slices.Contains(lb.TogetherWith, a))
}

// Combinations are the largest sets of loads that can all be on at the same
// time: every two of them can, and no further load can with all of them. A
// load that names no other is a set of its own. Names in a set, and the sets,
// stand in the order of the file. Nil for no loads. At most a thousand; a
// craft file with more is refused.
func (c *Craft) Combinations() [][]string {
	sets, _ := c.Cliques()
	var out [][]string
	for _, set := range sets {
		var names []string
		for i, l := range c.Loads {
			if set&(1<<i) != 0 {
				names = append(names, l.Name)
			}
		}
		out = append(out, names)
	}
	return out
}

// Cliques are the maximal sets of loads as bits, load 0 the lowest; false if
// there are more than can be given.
// Source: C. Bron, J. Kerbosch, Algorithm 457: finding all cliques of an
// undirected graph, Communications of the ACM 16 (1973) 575-577.
func (c *Craft) Cliques() ([]uint64, bool) {
	n := min(len(c.Loads), CraftMostLoads)
	with := make([]uint64, n)
	for i := range n {
		for j := range n {
			if i != j && c.Together(c.Loads[i].Name, c.Loads[j].Name) {
				with[i] |= 1 << j
			}
		}
	}
	var sets []uint64
	steps := 0
	var grow func(set, may, done uint64) bool
	grow = func(set, may, done uint64) bool {
		if steps++; steps > craftMostSteps {
			return false
		}
		if may|done == 0 {
			if set != 0 {
				sets = append(sets, set)
			}
			return len(sets) <= CraftMostCombinations
		}
		for left := may &^ craftPivot(with, may, done); left != 0; left &= left - 1 {
			i := bits.TrailingZeros64(left)
			if !grow(set|1<<i, may&with[i], done&with[i]) {
				return false
			}
			may, done = may&^(1<<i), done|1<<i
		}
		return true
	}
	all := grow(0, ^uint64(0)>>(64-n), 0) && n == len(c.Loads)
	sets = sets[:min(len(sets), CraftMostCombinations)]
	slices.SortFunc(sets, craftSetOrder)
	return sets, all
}

// craftPivot is what goes together with the one of may and done that goes
// with most of may: none of it need be tried first.
// Source: E. Tomita, A. Tanaka, H. Takahashi, The worst-case time complexity
// for generating all maximal cliques, Theoretical Computer Science 363 (2006)
// 28-42.
func craftPivot(with []uint64, may, done uint64) uint64 {
	best, most := uint64(0), -1
	for left := may | done; left != 0; left &= left - 1 {
		i := bits.TrailingZeros64(left)
		if n := bits.OnesCount64(with[i] & may); n > most {
			best, most = with[i], n
		}
	}
	return best
}

// craftSetOrder sorts sets of bits as lists of their members.
func craftSetOrder(a, b uint64) int {
	diff := a ^ b
	switch {
	case diff == 0:
		return 0
	case a&(diff&-diff) != 0:
		return -1
	}
	return 1
}
