package craftfile

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

func (f *craftFile) stations() {
	seen := craftNames{}
	f.grid(seen)
	for _, b := range f.list("station") {
		b.need("at_mm", "the surface under the probe's foot, [x, y, z]")
		name := seen.take(b)
		if at := b.vec3("at_mm"); at != nil && name != "" {
			f.c.Singles = append(f.c.Singles, survey.Station{Name: name, At: *at})
		}
	}
	if !f.root.has("grid") && !f.root.has("station") && !slices.Contains(f.root.meant, "grid") && !slices.Contains(f.root.meant, "station") {
		f.fail(craftPos{1, 1}, "add [grid] with spacing_mm, or a [[station]]", "no stations are described")
	}
	b := f.table("base")
	if b.node == nil {
		return
	}
	b.need("at_mm", "the base station's place off the craft, [x, y, z]")
	base := survey.Station{Name: b.named("name", "base")}
	seen.claim(b, base.Name)
	if at := b.vec3("at_mm"); at != nil {
		base.At = *at
	}
	f.c.Base = &base
}

// grid reads [grid] and claims the names of its stations. Numbers of stations
// that no one can walk are refused before they are laid out.
func (f *craftFile) grid(seen craftNames) {
	b := f.table("grid")
	if b.node == nil {
		return
	}
	b.need("spacing_mm", "millimetres between stations")
	g := survey.Grid{
		SpacingMM: b.number("spacing_mm", 0, craftRange{low: 0, high: survey.CraftReachMM, open: true}),
		OriginMM:  b.vec2("origin_mm", r2.Vec{}, craftPlace),
	}
	outline := f.c.Body.OutlineMM
	if g.SpacingMM == 0 || len(outline) == 0 {
		return // reported already
	}
	nodes, ok := g.Nodes(outline, survey.CraftMostStations)
	switch {
	case !ok:
		b.fail(b.at("spacing_mm"), "make spacing_mm larger", "the grid has more than %d stations", survey.CraftMostStations)
	case len(nodes) == 0:
		b.fail(b.at("spacing_mm"), "make spacing_mm smaller or set origin_mm to a point on the craft", "no node of the grid lies on the craft")
	}
	for _, n := range nodes {
		seen[n.Name] = true
	}
	f.c.Grid = &g
}

func (f *craftFile) keepouts() {
	seen := craftNames{}
	for _, b := range f.list("keepout") {
		b.need("outline_mm", "the area as [[x, y], [x, y], ...]")
		k := survey.Keepout{Name: seen.take(b), OutlineMM: craftReadPolygon(b, "outline_mm")}
		f.c.Keepouts = append(f.c.Keepouts, k)
	}
}

func (f *craftFile) loads() {
	seen := craftNames{}
	blocks := f.list("load")
	for _, b := range blocks {
		l := survey.Load{Name: seen.take(b), Kind: survey.LoadKind(b.text("kind", string(survey.LoadCurrent)))}
		if l.Name == survey.StateBackground || l.Name == survey.StateUnpowered {
			b.fail(b.at("name"), "give the load another name", "%q is a state of its own, not a load", l.Name)
		}
		amperes := b.number("max_current_a", 0, craftRange{low: 0, high: 10_000, open: true})
		switch l.Kind {
		case survey.LoadCurrent:
			b.need("max_current_a", "the largest current in use, in amperes")
			l.MaxCurrentA = amperes
		case survey.LoadMoving:
			if b.has("max_current_a") {
				f.c.Remarks = append(f.c.Remarks, fmt.Sprintf("max_current_a of %q is not used: a moving load is measured from end to end", l.Name))
			}
		default:
			hint := `write "current" or "moving"`
			b.fail(b.node.fields["kind"].at, hint, "kind %q is not known", survey.CraftShort(string(l.Kind)))
		}
		f.c.Loads = append(f.c.Loads, l)
	}
	for i, b := range blocks {
		if b.node == nil {
			continue
		}
		f.c.Loads[i].TogetherWith = f.together(b, f.c.Loads[i].Name)
	}
	f.combinations(blocks)
}

// together reads together_with of the load called self.
func (f *craftFile) together(b *craftBlock, self string) []string {
	names, places := b.texts("together_with")
	for i, name := range names {
		switch {
		case name == self:
			b.fail(places[i], "leave it out", "together_with names the load itself")
		case !slices.Contains(f.loadNames(), name):
			f.noLoad(places[i], "together_with", name)
		}
	}
	return names
}

// noLoad reports that key names a load that the file does not have.
func (f *craftFile) noLoad(at craftPos, key, name string) {
	hint := "add a [[load]] with that name"
	if near := survey.Nearest(name, f.loadNames()); near != "" {
		hint = fmt.Sprintf("did you mean %q?", near)
	}
	f.fail(at, hint, "%s: no [[load]] is named %q", key, survey.CraftShort(name))
}

func (f *craftFile) loadNames() []string {
	var names []string
	for _, l := range f.c.Loads {
		names = append(names, l.Name)
	}
	return names
}

// combinations refuses loads that combine in more ways than can be tried.
func (f *craftFile) combinations(blocks []*craftBlock) {
	if len(blocks) == 0 {
		return
	}
	at := blocks[0].at("name")
	if len(blocks) > survey.CraftMostLoads {
		f.fail(at, "", "more than %d [[load]]", survey.CraftMostLoads)
		return
	}
	if _, all := f.c.Cliques(); !all {
		f.fail(at, "leave names out of together_with", "the loads can be on together in more than %d ways", survey.CraftMostCombinations)
	}
}

func (f *craftFile) parts() {
	seen := craftNames{}
	for _, b := range f.list("part") {
		p := survey.Part{
			Name:         seen.take(b),
			AtMM:         b.vec3("at_mm"),
			MassG:        b.number("mass_g", 0, craftMass),
			SlideMM:      b.interval("slide_mm"),
			ClearanceMM:  b.number("clearance_mm", 0, craftLength),
			Magnetic:     b.truth("magnetic"),
			PathMM:       craftReadPath(b, "path_mm"),
			Load:         b.text("load", ""),
			GapMM:        b.number("gap_mm", 0, craftLength),
			ReturnPathMM: craftReadPath(b, "return_path_mm"),
		}
		if b.node == nil {
			continue
		}
		f.partPlace(b)
		if b.has("load") && !slices.Contains(f.loadNames(), p.Load) {
			f.noLoad(b.node.fields["load"].at, "load", p.Load)
		}
		f.c.Parts = append(f.c.Parts, p)
	}
}

// partPlace checks that a part is either at a place or along a path, and that
// its other keys fit that.
func (f *craftFile) partPlace(b *craftBlock) {
	switch {
	case b.has("at_mm") && b.has("path_mm"):
		b.fail(b.at("path_mm"), "a part is at a place or along a path", "%s has both at_mm and path_mm", b.label)
	case b.has("at_mm"):
		for _, key := range []string{"gap_mm", "return_path_mm"} {
			if b.has(key) {
				b.fail(b.at(key), "write path_mm instead of at_mm", "%s belongs to a part with path_mm", key)
			}
		}
	case b.has("path_mm"):
		if b.has("slide_mm") {
			b.fail(b.at("slide_mm"), "", "slide_mm belongs to a part with at_mm")
		}
		if b.has("gap_mm") && b.has("return_path_mm") {
			b.fail(b.at("return_path_mm"), "the return runs beside the lead, or elsewhere", "%s has both gap_mm and return_path_mm", b.label)
		}
	case !slices.Contains(b.meant, "at_mm") && !slices.Contains(b.meant, "path_mm"):
		b.fail(b.node.at, "write at_mm = [x, y, z], or for a lead path_mm = [[x, y, z], [x, y, z]]", "%s needs at_mm or path_mm", b.label)
	}
}

// craftReadPath reads a route of at least two places, no two in a row alike.
func craftReadPath(b *craftBlock, key string) []r3.Vec {
	points, places := b.points(key, 3, craftOutlinePoints)
	if points == nil {
		return nil
	}
	if len(points) < 2 {
		b.fail(b.at(key), "", "%s wants two points or more", key)
		return nil
	}
	var path []r3.Vec
	for i, v := range points {
		p := r3.Vec{X: v[0], Y: v[1], Z: v[2]}
		if i > 0 && p == path[i-1] {
			b.fail(places[i], "leave one out", "%s has the same point twice in a row", key)
			return nil
		}
		path = append(path, p)
	}
	return path
}

// remarks notes what is odd but not wrong.
func (f *craftFile) remarks() {
	note := func(format string, args ...any) { f.c.Remarks = append(f.c.Remarks, fmt.Sprintf(format, args...)) }
	units := []survey.Module{f.c.Module}
	if f.c.Probe != nil {
		units = append(units, *f.c.Probe)
	}
	for _, m := range units {
		if m.Axes != nil && m.Axes.Det() < 0 {
			note("the axes of %q are mirrored: right only for a sensor whose own axes are left-handed", m.Name)
		}
	}
	outline := f.c.Body.OutlineMM
	if b := f.c.Base; b != nil && outline.Contains(r2.Vec{X: b.At.X, Y: b.At.Y}) {
		note("the base station %q lies on the craft: it is better off the craft", b.Name)
	}
	for _, p := range f.c.Parts {
		if p.SlideMM != nil && p.AtMM != nil && (p.AtMM.X < p.SlideMM[0] || p.AtMM.X > p.SlideMM[1]) {
			note("%q stands outside its own slide_mm", p.Name)
		}
	}
	if f.c.Cable != nil && f.c.Module.CableMM == 0 {
		note("[cable] is described but cable_mm of the module is not: the cable limits nothing")
	}
}
