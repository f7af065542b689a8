// Package whatif predicts the findings of a craft after magnets, leads or parts
// are added, moved, turned or removed, or after the module gets a longer cable or
// a higher mount. Nothing is measured and nothing is stored.
//
// In come findings and Changes; out go findings that package rank can rank, and
// remarks on what the prediction rests on. Start reading at Predict; traced.go
// finds which sources of the field belong to a part, altered.go adds a change to
// a map that was fitted without sources.
package whatif

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	stdmaps "maps"
	"math"
	"reflect"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
	"quietmount/survey/sources"
)

// ErrNoChange is returned for Changes that change nothing.
var ErrNoChange = errors.New("nothing to change: add, move, turn or take away a magnet, a lead or a part, or change the cable or the heights")

// Changes are made all at once, in the order of the fields.
type Changes struct {
	Without    []string // parts that are removed
	Moves      []MovePart
	Turns      []TurnPart
	AddMagnets []AddMagnet
	AddLeads   []AddLead
	CableMM    *float64  // length of the module's cable; nil: as it is
	HeightsMM  []float64 // heights above the surface at which the module may stand too
}

// KeepField reports whether the changes leave the field as it was measured and change
// only where the module may be mounted.
func (c Changes) KeepField() bool {
	return len(c.Without)+len(c.Moves)+len(c.Turns)+len(c.AddMagnets)+len(c.AddLeads) == 0
}

// MovePart moves a part, or a lead by its first point, to a place.
type MovePart struct {
	Part string
	ToMM r3.Vec
}

// TurnPart turns the moment of a part's magnet to a direction, of any length.
type TurnPart struct {
	Part  string
	Along r3.Vec
}

// AddMagnet adds a magnet.
type AddMagnet struct {
	AtMM       r3.Vec
	MomentAm2  r3.Vec
	RelativeSD float64 // of the moment
}

// AddLead adds a pair of conductors, side by side at the same height.
type AddLead struct {
	PathMM   []r3.Vec
	CurrentA float64
	GapMM    float64 // 0: twisted, no field
	Load     string  // whose current it carries; empty: a new load, which can be on with all others
}

// addedLoad names the new load of an added lead.
const addedLoad = "added lead"

// Predict returns the findings as they would be after the changes, and remarks on
// them. A map that was fitted around sources is predicted with those sources
// changed, and their uncertainty moves with them. In any other map the field of a
// source is subtracted and added elsewhere, which widens the map by what is not
// known of the source. An added magnet or lead is as exact as its description.
// The results at the stations stay as measured. f is not modified.
//
// The errors are ErrNoChange, rank.ErrNoMap, and those of a part or load that does
// not exist or a lead of fewer than two points.
func Predict(ctx context.Context, f *evaluate.Findings, c Changes) (*evaluate.Findings, []remark.Remark, error) {
	if c.KeepField() && c.CableMM == nil && len(c.HeightsMM) == 0 {
		return nil, nil, ErrNoChange
	}
	if f.Map == nil {
		return nil, nil, rank.ErrNoMap
	}
	w := &whatIf{was: f, now: copied(f), added: map[string][]evaluate.Change{}}
	steps := []func(context.Context, Changes) error{w.without, w.move, w.turn, w.addMagnets, w.addLeads, w.mount}
	for _, step := range steps {
		if err := cmp.Or(step(ctx, c), ctx.Err()); err != nil {
			return nil, nil, err
		}
	}
	w.apply()
	return w.now, w.notes, nil
}

// copied returns f with its own copies of craft and map.
func copied(f *evaluate.Findings) *evaluate.Findings {
	out, craft, m := *f, *f.Craft, *f.Map
	craft.Parts, craft.Loads = slices.Clone(craft.Parts), slices.Clone(craft.Loads)
	m.Loads = stdmaps.Clone(m.Loads)
	if m.Loads == nil {
		m.Loads = map[string]evaluate.Field{}
	}
	out.Craft, out.Map = &craft, &m
	out.Loads, out.Notes = slices.Clone(f.Loads), slices.Clone(f.Notes)
	return &out
}

// whatIf is the state of Predict.
type whatIf struct {
	was, now *evaluate.Findings
	traced   []*traced                    // the sources of every state, found when first needed
	added    map[string][]evaluate.Change // by state
	notes    []remark.Remark
}

// note adds a remark, once.
func (w *whatIf) note(r remark.Remark) {
	if !slices.ContainsFunc(w.notes, func(o remark.Remark) bool { return reflect.DeepEqual(o, r) }) {
		w.notes = append(w.notes, r)
	}
}

// part returns the index of a part of the changed craft.
func (w *whatIf) part(name string) (int, error) {
	var names []string
	for i, p := range w.now.Craft.Parts {
		if p.Name == name {
			return i, nil
		}
		names = append(names, p.Name)
	}
	err := fmt.Errorf("the craft file has no part %q; it has: %s", name, strings.Join(names, ", "))
	if len(names) == 0 {
		err = fmt.Errorf("the craft file has no part %q: it has none", name)
	}
	if near := survey.Nearest(name, names); near != "" {
		err = fmt.Errorf("the craft file has no part %q; did you mean %q?", name, near)
	}
	return -1, err
}

// of calls change for every source that the measured field attributes to a part.
// change may set the edit of the source.
func (w *whatIf) of(ctx context.Context, part string, change func(s sources.Source, x *evaluate.SourceEdit)) error {
	if err := w.trace(ctx); err != nil {
		return err
	}
	found, at := false, remark.Place{Part: part}
	for _, t := range w.traced {
		for i, c := range t.Sources {
			if c.Name != part && !(c.Name == "" && c.Probably == part) {
				continue
			}
			found = true
			w.noteDoubt(part, t.StateSources, i)
			if c.Name == "" {
				w.note(remark.New("whatif.taken_for_part", remark.Values{"away_mm": r3.Norm(c.Nearest.Offset)}).At(at))
			}
			x := t.edits[t.order[i]]
			if change(c, &x); x != (evaluate.SourceEdit{}) {
				t.edits[t.order[i]] = x
			}
		}
	}
	if !found {
		w.note(remark.New("whatif.not_traced").At(at))
	}
	return nil
}

// noteDoubt notes how well the source that a part is taken for is known: what is
// not known of it goes into the uncertainty of everything after the change.
func (w *whatIf) noteDoubt(part string, s sources.StateSources, i int) {
	c, at := s.Sources[i], remark.Place{Part: part}
	if size := r3.Norm(c.MomentAm2); c.Kind == source.KindDipole && size > 0 {
		u := r3.Unit(c.MomentAm2)
		w.note(remark.New("whatif.magnet", remark.Values{
			"state": s.State, "moment_am2": size, "moment_sd_am2": math.Sqrt(max(0, r3.Dot(u, c.MomentCov.Apply(u)))), "at_sd_mm": math.Sqrt(max(0, c.AtCov.Trace())),
		}).At(at))
	}
	for _, pair := range s.Alike {
		if pair[0] != i && pair[1] != i {
			continue
		}
		w.note(remark.New("whatif.not_told_apart", remark.Values{"other": s.Sources[pair[0]+pair[1]-i].Name}).At(at))
	}
	if s.Scale > 2 {
		w.note(remark.New("whatif.misfit", remark.Values{"state": s.State, "times": math.Sqrt(s.Scale)}).At(at))
	}
}

func (w *whatIf) without(ctx context.Context, c Changes) error {
	for _, name := range c.Without {
		i, err := w.part(name)
		if err != nil {
			return err
		}
		if err := w.of(ctx, name, func(_ sources.Source, x *evaluate.SourceEdit) { x.Gone = true }); err != nil {
			return err
		}
		w.now.Craft.Parts = slices.Delete(w.now.Craft.Parts, i, i+1)
	}
	return nil
}

func (w *whatIf) move(ctx context.Context, c Changes) error {
	for _, m := range c.Moves {
		i, err := w.part(m.Part)
		if err != nil {
			return err
		}
		by := w.shift(i, m.ToMM)
		if err := w.of(ctx, m.Part, func(_ sources.Source, x *evaluate.SourceEdit) { x.By = r3.Add(x.By, by) }); err != nil {
			return err
		}
	}
	return nil
}

// shift moves part i of the craft and returns by how much.
func (w *whatIf) shift(i int, to r3.Vec) r3.Vec {
	p := &w.now.Craft.Parts[i]
	if p.AtMM != nil {
		by := r3.Sub(to, *p.AtMM)
		p.AtMM = &to
		if p.SlideMM != nil && (to.X < p.SlideMM[0] || to.X > p.SlideMM[1]) {
			w.note(remark.New("whatif.outside_slide", remark.Values{"x_mm": to.X, "from_mm": p.SlideMM[0], "to_mm": p.SlideMM[1]}).At(remark.Place{Part: p.Name}))
		}
		return by
	}
	by := r3.Sub(to, p.PathMM[0])
	p.PathMM, p.ReturnPathMM = moved(p.PathMM, by), moved(p.ReturnPathMM, by)
	return by
}

func moved(path []r3.Vec, by r3.Vec) []r3.Vec {
	out := slices.Clone(path)
	for i := range out {
		out[i] = r3.Add(out[i], by)
	}
	return out
}

// turn turns the moments of parts.
func (w *whatIf) turn(ctx context.Context, c Changes) error {
	for _, t := range c.Turns {
		if _, err := w.part(t.Part); err != nil {
			return err
		}
		along := r3.Unit(t.Along)
		err := w.of(ctx, t.Part, func(s sources.Source, x *evaluate.SourceEdit) {
			if s.Kind != source.KindDipole {
				w.note(remark.New("whatif.lead_not_turned").At(remark.Place{Part: t.Part}))
				return
			}
			x.Along = &along
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// mount changes where the module may be mounted.
func (w *whatIf) mount(_ context.Context, c Changes) error {
	craft := w.now.Craft
	if c.CableMM != nil {
		craft.Module.CableMM = *c.CableMM
		if craft.Cable == nil {
			w.note(remark.New("whatif.no_cable"))
		}
	}
	for _, h := range c.HeightsMM {
		if len(craft.Heights) == 0 {
			craft.Heights = []float64{0}
		}
		if slices.Contains(craft.Heights, h) {
			w.note(remark.New("whatif.height_allowed", remark.Values{"height_mm": h}))
			continue
		}
		craft.Heights = append(slices.Clone(craft.Heights), h)
	}
	return nil
}

func (w *whatIf) addMagnets(_ context.Context, c Changes) error {
	for _, m := range c.AddMagnets {
		d := source.Dipole{AtMM: m.AtMM, MomentAm2: m.MomentAm2}
		add := evaluate.Change{Field: d.Field}
		if m.RelativeSD > 0 {
			add.Slopes = func(p r3.Vec) []r3.Vec { return []r3.Vec{d.Field(p)} }
			add.Cov = mat.NewSymDense(1, []float64{m.RelativeSD * m.RelativeSD})
		}
		w.added[survey.StateUnpowered] = append(w.added[survey.StateUnpowered], add)
		if w.was.Map.Steady == nil {
			w.note(remark.New("whatif.no_background"))
		}
	}
	return nil
}

func (w *whatIf) addLeads(_ context.Context, c Changes) error {
	for _, l := range c.AddLeads {
		if len(l.PathMM) < 2 {
			return errors.New("a lead runs from one place to another: give at least two places")
		}
		load, err := w.loadFor(l)
		if err != nil {
			return err
		}
		if l.GapMM == 0 {
			w.note(remark.New("whatif.twisted"))
		}
		q := source.Pair{PathMM: l.PathMM, GapMM: l.GapMM, CurrentA: l.CurrentA}
		w.added[load] = append(w.added[load], evaluate.Change{Field: q.Circuit().Field})
	}
	return nil
}

// loadFor returns the load that an added lead belongs to, and adds it to the craft
// if it is new.
func (w *whatIf) loadFor(l AddLead) (string, error) {
	c := w.now.Craft
	if l.Load != "" {
		if _, ok := c.LoadByName(l.Load); !ok {
			return "", fmt.Errorf("the craft file has no load %q", l.Load)
		}
		if w.was.Map.Loads[l.Load] == nil {
			w.note(remark.New("whatif.load_unmeasured").At(remark.Place{Load: l.Load}))
		}
		return l.Load, nil
	}
	name := addedLoad
	for n := 2; ; n++ {
		if _, taken := c.LoadByName(name); !taken {
			break
		}
		name = fmt.Sprintf("%s %d", addedLoad, n)
	}
	load := survey.Load{Name: name, Kind: survey.LoadCurrent, MaxCurrentA: l.CurrentA}
	for _, o := range c.Loads {
		load.TogetherWith = append(load.TogetherWith, o.Name)
	}
	c.Loads = append(c.Loads, load)
	w.now.Loads = append(w.now.Loads, evaluate.LoadFinding{Name: name, Measured: true, CurrentA: math.Abs(l.CurrentA), Factor: 1})
	return name, nil
}

// apply changes the maps.
func (w *whatIf) apply() {
	m := w.now.Map
	if m.Steady != nil {
		m.Steady = w.after(survey.StateUnpowered, m.Steady)
	}
	for _, l := range w.now.Craft.Loads {
		if after := w.after(l.Name, m.Loads[l.Name]); after != nil {
			m.Loads[l.Name] = after
		}
	}
	m.Combinations = nil
	for _, set := range w.now.Craft.Combinations() {
		set = slices.DeleteFunc(slices.Clone(set), func(n string) bool { return m.Loads[n] == nil })
		if len(set) > 0 && !slices.ContainsFunc(m.Combinations, func(o []string) bool { return slices.Equal(o, set) }) {
			m.Combinations = append(m.Combinations, set)
		}
	}
}
