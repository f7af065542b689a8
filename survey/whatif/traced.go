package whatif

import (
	"context"
	"slices"

	"quietmount/magmath/fieldmap"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/sources"
)

// traced holds the sources of the field of one state and their edits.
type traced struct {
	sources.StateSources
	order []int                       // the number of each of Sources in the fit
	edits map[int]evaluate.SourceEdit // by that number
	on    *evaluate.SourceModel       // the fit, if the map was fitted around it
}

// trace finds the sources of all states: those that a map was fitted around, else
// those fitted to its readings.
func (w *whatIf) trace(ctx context.Context) error {
	if w.traced != nil {
		return nil
	}
	w.traced = []*traced{}
	states := []string{survey.StateUnpowered}
	for _, l := range w.was.Craft.Loads {
		states = append(states, l.Name)
	}
	for _, state := range states {
		t, err := traceSources(ctx, w.was, state)
		if err != nil {
			return err
		}
		if t != nil {
			w.traced = append(w.traced, t)
		}
	}
	return nil
}

// field returns the map of a state; nil if it was not measured.
func field(m *evaluate.Map, state string) evaluate.Field {
	if state == survey.StateUnpowered {
		return m.Steady
	}
	return m.Loads[state]
}

// traceSources returns the sources of a state; nil if it was not measured in
// vectors.
func traceSources(ctx context.Context, f *evaluate.Findings, state string) (*traced, error) {
	r, ok := field(f.Map, state).(sources.ReadingField)
	if !ok {
		return nil, nil
	}
	t := &traced{edits: map[int]evaluate.SourceEdit{}, on: f.Map.SourceModels[state]}
	if t.on != nil {
		t.StateSources, t.order = sources.Describe(f, state, t.on.Readings, t.on.Found)
		return t, nil
	}
	found, err := sources.Search(ctx, f, state, r.Readings())
	if err != nil {
		return nil, err
	}
	t.StateSources, t.order = sources.Describe(f, state, r.Readings(), found)
	return t, nil
}

// after returns the map of a state after the changes; base itself if nothing
// changes it.
func (w *whatIf) after(state string, base evaluate.Field) evaluate.Field {
	changes := slices.Clone(w.added[state])
	touched := len(changes) > 0
	for _, t := range w.traced {
		if t.State != state || len(t.edits) == 0 {
			continue
		}
		touched = true
		if t.on != nil {
			base = refounded(base, t.on.With(t.edits))
			continue
		}
		for i, c := range t.Sources {
			if x, ok := t.edits[t.order[i]]; ok {
				changes = append(changes, x.Change(c.Fitted))
			}
		}
	}
	if !touched {
		return base
	}
	return altered{base: base, changes: changes}
}

// refounded returns a map that was fitted around sources, with other sources.
func refounded(base evaluate.Field, on *evaluate.SourceModel) evaluate.Field {
	switch m := base.(type) {
	case *fieldmap.Map:
		return m.After(on.SourceMean())
	case evaluate.Scaled:
		return evaluate.Scaled{Map: m.Map.After(on.SourceMean()), SD: m.SD}
	}
	return base
}
