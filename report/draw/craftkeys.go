package draw

import (
	"math"
	"strings"

	"gonum.org/v1/plot/vg"

	"quietmount/survey"
)

// StationKey explains a station.
func StationKey(words string) Key {
	return Key{func(p *Pen, at vg.Point) { p.Disc(at, 2.6, White, Black, 0.9) }, words}
}

// OutlineKey explains the edge of the craft.
func OutlineKey() Key {
	return Key{func(p *Pen, at vg.Point) { p.Line(Level(at, 10), 1.5, Black) }, "outline of the craft"}
}

// KeepoutKey explains a keep-out.
func KeepoutKey(words string) Key {
	return Key{func(p *Pen, at vg.Point) {
		box := BoxAround(at, 10, 4.5)
		p.Hatched(box, 4, math.Pi/4, Black)
		p.Loop(box, 0.8, Black)
	}, words}
}

// ThingKeys explain the parts, leads and the cable that a craft has.
func ThingKeys(c *survey.Craft) []Key {
	var keys []Key
	var plain, magnetic, leads, back bool
	for _, p := range c.Parts {
		plain = plain || (p.AtMM != nil && !p.Magnetic)
		magnetic = magnetic || (p.AtMM != nil && p.Magnetic)
		leads = leads || len(p.PathMM) > 1
		back = back || len(p.ReturnPathMM) > 1
	}
	if plain {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { partMark(p, at, false) }, "part"})
	}
	if magnetic {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { partMark(p, at, true) }, "magnetic part"})
	}
	if leads {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { p.Line(Level(at, 11), 1.6, Wire) }, "lead that carries a load's current"})
	}
	if back {
		keys = append(keys, Key{func(p *Pen, at vg.Point) { p.Line(Level(at, 11), 1.6, Wire, 4, 2) }, "its return, where that runs elsewhere"})
	}
	if c.Cable != nil {
		keys = append(keys, Key{func(p *Pen, at vg.Point) {
			p.Line([]vg.Point{at, at.Add(vg.Point{X: 12})}, 1.2, Black, 1.5, 2)
			cableMark(p, at.Add(vg.Point{X: -5}))
		}, "start and route of the module's cable"})
	}
	return keys
}

// LackingKey explains the stand-in for letters, where one was needed.
func LackingKey(c *survey.Craft) []Key {
	var p Picture
	g := NewPen(&p)
	var names strings.Builder
	names.WriteString(c.Name + c.Module.Name)
	for _, n := range c.StationNames() {
		names.WriteString(n)
	}
	for _, part := range c.Parts {
		names.WriteString(part.Name)
	}
	for _, k := range c.Keepouts {
		names.WriteString(k.Name)
	}
	for _, l := range c.Loads {
		names.WriteString(l.Name)
	}
	if g.printable(names.String()); !g.lacking {
		return nil
	}
	return []Key{{nil, string(noGlyph) + " stands for a letter that the picture's font lacks, " + string(noGlyph) + "×5 for five; beside it stands the place, x and y in mm. Tables and JSON show the name in full"}}
}
