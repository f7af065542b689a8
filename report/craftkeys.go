package report

import (
	"math"
	"strings"

	"gonum.org/v1/plot/vg"

	"quietmount/survey"
)

func stationKey(words string) key {
	return key{func(p *pen, at vg.Point) { p.disc(at, 2.6, white, black, 0.9) }, words}
}

func outlineKey() key {
	return key{func(p *pen, at vg.Point) { p.line(level(at, 10), 1.5, black) }, "outline of the craft"}
}

func keepoutKey(words string) key {
	return key{func(p *pen, at vg.Point) {
		box := boxAround(at, 10, 4.5)
		p.hatched(box, 4, math.Pi/4, black)
		p.loop(box, 0.8, black)
	}, words}
}

// thingKeys explain the parts, leads and the cable that a craft has.
func thingKeys(c *survey.Craft) []key {
	var keys []key
	var plain, magnetic, leads, back bool
	for _, p := range c.Parts {
		plain = plain || (p.AtMM != nil && !p.Magnetic)
		magnetic = magnetic || (p.AtMM != nil && p.Magnetic)
		leads = leads || len(p.PathMM) > 1
		back = back || len(p.ReturnPathMM) > 1
	}
	if plain {
		keys = append(keys, key{func(p *pen, at vg.Point) { partMark(p, at, false) }, "part"})
	}
	if magnetic {
		keys = append(keys, key{func(p *pen, at vg.Point) { partMark(p, at, true) }, "magnetic part"})
	}
	if leads {
		keys = append(keys, key{func(p *pen, at vg.Point) { p.line(level(at, 11), 1.6, wire) }, "lead that carries a load's current"})
	}
	if back {
		keys = append(keys, key{func(p *pen, at vg.Point) { p.line(level(at, 11), 1.6, wire, 4, 2) }, "its return, where that runs elsewhere"})
	}
	if c.Cable != nil {
		keys = append(keys, key{func(p *pen, at vg.Point) {
			p.line([]vg.Point{at, at.Add(vg.Point{X: 12})}, 1.2, black, 1.5, 2)
			cableMark(p, at.Add(vg.Point{X: -5}))
		}, "start and route of the module's cable"})
	}
	return keys
}

// lackingKey explains the stand-in for letters, where one was needed.
func lackingKey(c *survey.Craft) []key {
	var p Picture
	g := newPen(&p)
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
	return []key{{nil, string(noGlyph) + " stands for a letter that the picture's font lacks, " + string(noGlyph) + "×5 for five; beside it stands the place, x and y in mm. Tables and JSON show the name in full"}}
}
