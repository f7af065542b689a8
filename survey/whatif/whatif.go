package whatif

import (
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

// ErrNoChange says that a what-if asks for nothing.
var ErrNoChange = errors.New("nothing to change: add, move, turn or take away a magnet, a lead or a part")

// Changes are what a what-if tries, all at once, in the order of the fields.
type Changes struct {
	Without    []string // parts taken away
	Moves      []MovePart
	Turns      []TurnPart
	AddMagnets []AddMagnet
	AddLeads   []AddLead
}

// MovePart puts a part, or the first point of a lead, at another place.
type MovePart struct {
	Part string
	ToMM r3.Vec
}

// TurnPart turns the moment of a part's magnet to a direction, of any length.
type TurnPart struct {
	Part  string
	Along r3.Vec
}

// AddMagnet is a magnet that is not there yet.
type AddMagnet struct {
	AtMM       r3.Vec
	MomentAm2  r3.Vec
	RelativeSD float64 // of the moment
}

// AddLead is a pair of conductors that is not there yet, side by side at the
// same height.
type AddLead struct {
	PathMM   []r3.Vec
	CurrentA float64
	GapMM    float64 // 0: twisted, no field
	Load     string  // whose current it carries; empty: one of its own, which can be on with all others
}

// addedLoad is the load of a lead that belongs to none.
const addedLoad = "added lead"

// Predict are the findings as they would be after some changes, for Rank, and
// what to say about them. Where a map stands on the sources fitted to it, it is
// predicted with those sources changed, so that what is not known of them goes
// with them; else a source's field is taken off and added elsewhere, and what is
// not known of it makes the map wider. An added magnet or lead is as exact as
// its description. The stations' own results stay as measured. f is not changed.
//
// Errors: ErrNoChange, a part or load that does not exist, a lead that is none,
// ErrNoMap.
func Predict(f *evaluate.Findings, c Changes) (*evaluate.Findings, []remark.Remark, error) {
	if len(c.Without)+len(c.Moves)+len(c.Turns)+len(c.AddMagnets)+len(c.AddLeads) == 0 {
		return nil, nil, ErrNoChange
	}
	if f.Map == nil {
		return nil, nil, rank.ErrNoMap
	}
	w := &whatIf{was: f, now: copied(f), added: map[string][]evaluate.Change{}}
	steps := []func(Changes) error{w.without, w.move, w.turn, w.addMagnets, w.addLeads}
	for _, step := range steps {
		if err := step(c); err != nil {
			return nil, nil, err
		}
	}
	w.apply()
	return w.now, w.notes, nil
}

// copied is f with a craft and a map of its own.
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

// whatIf is the work behind WhatIf.
type whatIf struct {
	was, now *evaluate.Findings
	traced   []*traced                    // the sources of every state, sought when the first part is asked for
	added    map[string][]evaluate.Change // by state
	notes    []remark.Remark
}

// note adds a remark, once.
func (w *whatIf) note(r remark.Remark) {
	if !slices.ContainsFunc(w.notes, func(o remark.Remark) bool { return reflect.DeepEqual(o, r) }) {
		w.notes = append(w.notes, r)
	}
}

// part finds a part of the craft as it now is.
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

// of calls change for the fate of every source that the measured field traces
// to a part.
func (w *whatIf) of(part string, change func(s sources.SourceFinding, x *evaluate.SourceEdit)) error {
	if err := w.trace(); err != nil {
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
			x := t.fates[t.order[i]]
			if change(c, &x); x != (evaluate.SourceEdit{}) {
				t.fates[t.order[i]] = x
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

func (w *whatIf) without(c Changes) error {
	for _, name := range c.Without {
		i, err := w.part(name)
		if err != nil {
			return err
		}
		if err := w.of(name, func(_ sources.SourceFinding, x *evaluate.SourceEdit) { x.Gone = true }); err != nil {
			return err
		}
		w.now.Craft.Parts = slices.Delete(w.now.Craft.Parts, i, i+1)
	}
	return nil
}

func (w *whatIf) move(c Changes) error {
	for _, m := range c.Moves {
		i, err := w.part(m.Part)
		if err != nil {
			return err
		}
		by := w.shift(i, m.ToMM)
		if err := w.of(m.Part, func(_ sources.SourceFinding, x *evaluate.SourceEdit) { x.By = r3.Add(x.By, by) }); err != nil {
			return err
		}
	}
	return nil
}

// shift moves part i of the craft and says by how much.
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

// turn points a part's moment elsewhere.
func (w *whatIf) turn(c Changes) error {
	for _, t := range c.Turns {
		if _, err := w.part(t.Part); err != nil {
			return err
		}
		along := r3.Unit(t.Along)
		err := w.of(t.Part, func(s sources.SourceFinding, x *evaluate.SourceEdit) {
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

func (w *whatIf) addMagnets(c Changes) error {
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

func (w *whatIf) addLeads(c Changes) error {
	for _, l := range c.AddLeads {
		if len(l.PathMM) < 2 {
			return errors.New("a lead runs from one place to another: two places are wanted")
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

// loadFor is the load that a lead belongs to, made if need be.
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

// apply puts the changes over the maps.
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
