package findings

import (
	"slices"

	"quietmount/magmath/fieldmap"
	"quietmount/survey"
)

// traced are the sources behind the field of one state and what becomes of
// them in a what-if.
type traced struct {
	StateSources
	order []int        // the number of each of Sources in the fit
	fates map[int]fate // by that number
	on    *standing    // that fit, if the map stands on it
}

// trace finds the sources of all states: those that a map stands on, else
// those that its readings tell of by themselves.
func (w *whatIf) trace() error {
	if w.traced != nil {
		return nil
	}
	w.traced = []*traced{}
	states := []string{survey.StateUnpowered}
	for _, l := range w.was.Craft.Loads {
		states = append(states, l.Name)
	}
	for _, state := range states {
		t, err := w.was.traced(state)
		if err != nil {
			return err
		}
		if t != nil {
			w.traced = append(w.traced, t)
		}
	}
	return nil
}

// field is the map of a state; nil where it was not measured.
func (m *Map) field(state string) Field {
	if state == survey.StateUnpowered {
		return m.Steady
	}
	return m.Loads[state]
}

// traced is nil for a state that was not measured in vectors.
func (f *Findings) traced(state string) (*traced, error) {
	r, ok := f.Map.field(state).(readingField)
	if !ok {
		return nil, nil
	}
	t := &traced{fates: map[int]fate{}, on: f.Map.on[state]}
	if t.on != nil {
		t.StateSources, t.order = f.stateSources(state, t.on.readings, t.on.found)
		return t, nil
	}
	found, err := f.find(state, r.Readings())
	if err != nil {
		return nil, err
	}
	t.StateSources, t.order = f.stateSources(state, r.Readings(), found)
	return t, nil
}

// after is the map of a state after the changes; base itself where nothing
// changes it.
func (w *whatIf) after(state string, base Field) Field {
	changes := slices.Clone(w.added[state])
	touched := len(changes) > 0
	for _, t := range w.traced {
		if t.State != state || len(t.fates) == 0 {
			continue
		}
		touched = true
		if t.on != nil {
			base = refounded(base, t.on.with(t.fates))
			continue
		}
		for i, c := range t.Sources {
			if x, ok := t.fates[t.order[i]]; ok {
				changes = append(changes, x.change(c.Fitted))
			}
		}
	}
	if !touched {
		return base
	}
	return altered{base: base, changes: changes}
}

// refounded is a map predicted with other sources under it.
func refounded(base Field, on *standing) Field {
	switch m := base.(type) {
	case *fieldmap.Map:
		return m.After(on.ground, on.fields)
	case scaled:
		return scaled{m.Map.After(on.ground, on.fields)}
	}
	return base
}
