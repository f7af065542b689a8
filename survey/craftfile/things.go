package craftfile

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
)

func (f *reader) stations() {
	seen := takenNames{}
	f.grid(seen)
	for _, b := range f.list("station") {
		b.need("at_mm", "the surface under the probe's foot, [x, y, z]")
		name := seen.take(b)
		if at := b.vec3("at_mm"); at != nil && name != "" {
			f.c.Singles = append(f.c.Singles, survey.Station{Name: name, At: *at})
		}
	}
	if !f.root.has("grid") && !f.root.has("station") && !slices.Contains(f.root.meant, "grid") && !slices.Contains(f.root.meant, "station") {
		f.fail(position{1, 1}, "add [grid] with spacing_mm, or a [[station]]", "no stations are described")
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
func (f *reader) grid(seen takenNames) {
	b := f.table("grid")
	if b.node == nil {
		return
	}
	b.need("spacing_mm", "millimetres between stations")
	g := survey.Grid{
		SpacingMM: b.number("spacing_mm", 0, bounds{low: 0, high: survey.ReachMM, open: true}),
		OriginMM:  b.vec2("origin_mm", r2.Vec{}, anyPlace),
	}
	outline := f.c.Body.OutlineMM
	if g.SpacingMM == 0 || len(outline) == 0 {
		return // reported already
	}
	nodes, ok := g.Nodes(outline, survey.MaxStations)
	switch {
	case !ok:
		b.fail(b.at("spacing_mm"), "make spacing_mm larger", "the grid has more than %d stations", survey.MaxStations)
	case len(nodes) == 0:
		b.fail(b.at("spacing_mm"), "make spacing_mm smaller or set origin_mm to a point on the craft", "no node of the grid lies on the craft")
	}
	for _, n := range nodes {
		seen[n.Name] = true
	}
	f.c.Grid = &g
}

func (f *reader) keepouts() {
	seen := takenNames{}
	for _, b := range f.list("keepout") {
		b.need("outline_mm", "the area as [[x, y], [x, y], ...]")
		k := survey.Keepout{Name: seen.take(b), OutlineMM: readPolygon(b, "outline_mm")}
		f.c.Keepouts = append(f.c.Keepouts, k)
	}
}

func (f *reader) loads() {
	seen := takenNames{}
	blocks := f.list("load")
	for _, b := range blocks {
		l := survey.Load{Name: seen.take(b), Kind: survey.LoadKind(b.text("kind", string(survey.LoadCurrent)))}
		if l.Name == survey.StateBackground || l.Name == survey.StateUnpowered {
			b.fail(b.at("name"), "give the load another name", "%q is a state of its own, not a load", l.Name)
		}
		amperes := b.number("max_current_a", 0, bounds{low: 0, high: 10_000, open: true})
		switch l.Kind {
		case survey.LoadCurrent:
			l.Reverses = b.truth("reverses")
			b.need("max_current_a", "the largest current in use, in amperes")
			l.MaxCurrentA = amperes
		case survey.LoadMoving:
			if b.has("max_current_a") {
				f.remark(remark.New("craft.current-not-used").At(remark.Place{Load: l.Name}))
			}
		default:
			hint := `write "current" or "moving"`
			b.fail(b.node.fields["kind"].at, hint, "kind %q is not known", short(string(l.Kind)))
		}
		f.c.Loads = append(f.c.Loads, l)
	}
	for i, b := range blocks {
		if b.node != nil {
			f.c.Loads[i].TogetherWith = f.together(b, f.c.Loads[i].Name)
		}
	}
	if len(blocks) > survey.MaxLoads {
		f.fail(blocks[survey.MaxLoads].at("name"), "leave some out", "more than %d [[load]]", survey.MaxLoads)
	}
}

// together reads together_with of the load called self.
func (f *reader) together(b *table, self string) []string {
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
func (f *reader) noLoad(at position, key, name string) {
	hint := "add a [[load]] with that name"
	if near := survey.Nearest(name, f.loadNames()); near != "" {
		hint = fmt.Sprintf("did you mean %q?", near)
	}
	f.fail(at, hint, "%s: no [[load]] is named %q", key, short(name))
}

func (f *reader) loadNames() []string {
	var names []string
	for _, l := range f.c.Loads {
		names = append(names, l.Name)
	}
	return names
}

func (f *reader) parts() {
	seen := takenNames{}
	for _, b := range f.list("part") {
		p := survey.Part{
			Name:         seen.take(b),
			AtMM:         b.vec3("at_mm"),
			MassG:        b.number("mass_g", 0, anyMass),
			SlideMM:      b.interval("slide_mm"),
			ClearanceMM:  b.number("clearance_mm", 0, anyLength),
			Magnetic:     b.truth("magnetic"),
			PathMM:       readPath(b, "path_mm"),
			Load:         b.text("load", ""),
			GapMM:        b.number("gap_mm", 0, anyLength),
			ReturnPathMM: readPath(b, "return_path_mm"),
		}
		if b.node == nil {
			continue
		}
		if p.Magnetic && p.Load != "" {
			p.WarmsK = b.number("warms_k", 40, bounds{low: 0, high: 500})
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
func (f *reader) partPlace(b *table) {
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

// readPath reads a route of at least two places, no two in a row alike.
func readPath(b *table, key string) []r3.Vec {
	points, places := b.points(key, 3, mostOutlinePoints)
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

func (f *reader) remark(r remark.Remark) { f.c.Remarks = append(f.c.Remarks, r) }

// remarks collects what is odd but not wrong.
func (f *reader) remarks() {
	units := []survey.Module{f.c.Module}
	if f.c.Probe != nil {
		units = append(units, *f.c.Probe)
	}
	for _, m := range units {
		if m.Axes != nil && m.Axes.Det() < 0 {
			f.remark(remark.New("craft.axes-mirrored", remark.Values{"unit": m.Name}))
		}
	}
	outline := f.c.Body.OutlineMM
	if b := f.c.Base; b != nil && outline.Contains(r2.Vec{X: b.At.X, Y: b.At.Y}) {
		f.remark(remark.New("craft.base-on-craft").At(remark.Place{Station: b.Name}))
	}
	for _, p := range f.c.Parts {
		if p.SlideMM != nil && p.AtMM != nil && (p.AtMM.X < p.SlideMM[0] || p.AtMM.X > p.SlideMM[1]) {
			f.remark(remark.New("craft.outside-slide").At(remark.Place{Part: p.Name}))
		}
	}
	if f.c.Cable != nil && f.c.Module.CableMM == 0 {
		f.remark(remark.New("craft.cable-without-length"))
	}
}
