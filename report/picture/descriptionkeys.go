package picture

import (
	"fmt"
	"strings"

	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
)

// descriptionKeys are the keys of the craft as described, with what a plan
// cannot show said in words.
func descriptionKeys(c *survey.Craft) []draw.Key {
	keys := []draw.Key{
		draw.OutlineKey(),
		{Draw: draw.DatumMark, Words: "datum: x = 0, y = 0"},
		draw.StationKey(fmt.Sprintf("station, %d of them", len(c.Stations()))),
	}
	if len(c.Keepouts) > 0 {
		keys = append(keys, draw.KeepoutKey("keep-out: nothing may be mounted here"))
	}
	keys = append(keys, draw.ThingKeys(c)...)
	if clearance(c) {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Ring(at, 4.5, draw.Solid, 0.8, 3, 2) }, Words: "clearance: the module's edge stays outside"})
	}
	keys = append(keys, moduleKey(c.Module))
	for _, p := range c.Parts {
		if len(p.PathMM) > 1 {
			keys = append(keys, draw.Key{Draw: nil, Words: leadSentence(c, p)})
		} else if p.AtMM != nil {
			keys = append(keys, draw.Key{Draw: nil, Words: fmt.Sprintf("%s at x %s, y %s, z %s mm", p.Name, say.Short(p.AtMM.X), say.Short(p.AtMM.Y), say.Short(p.AtMM.Z))})
		}
	}
	if c.Cable != nil {
		keys = append(keys, draw.Key{Draw: nil, Words: fmt.Sprintf("cable: %s mm with %s mm of slack kept, from x %s, y %s mm",
			say.Short(c.Module.CableMM), say.Short(c.Cable.SlackMM), say.Short(c.Cable.FromMM.X), say.Short(c.Cable.FromMM.Y))})
	}
	if c.Base != nil {
		keys = append(keys, draw.Key{Draw: nil, Words: draw.BaseWords(c)})
	}
	return append(keys, draw.LackingKey(c)...)
}

func clearance(c *survey.Craft) bool {
	for _, p := range c.Parts {
		if p.AtMM != nil && p.ClearanceMM > 0 {
			return true
		}
	}
	return false
}

func moduleKey(m survey.Module) draw.Key {
	return draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Loop(draw.BoxAround(at, 5, 5), 1, draw.Black) },
		Words: fmt.Sprintf("module %s: foot %s mm long, %s mm wide; sensor %s its middle", m.Name, say.Short(m.FootprintMM.X), say.Short(m.FootprintMM.Y), offsetWords(m))}
}

func offsetWords(m survey.Module) string {
	var out []string
	add := func(mm float64, positive, negative string) {
		switch {
		case mm > 0:
			out = append(out, say.Short(mm)+" mm "+positive)
		case mm < 0:
			out = append(out, say.Short(-mm)+" mm "+negative)
		}
	}
	add(m.SensorOffsetMM.X, "ahead of", "behind")
	add(m.SensorOffsetMM.Y, "right of", "left of")
	if len(out) == 0 {
		return "over"
	}
	return say.Listed(out)
}

// leadSentence says which load a lead feeds and on which side it runs.
func leadSentence(c *survey.Craft, p survey.Part) string {
	sum := 0.0
	for _, q := range p.PathMM {
		sum += q.Y
	}
	side := "along the middle"
	switch mean := sum / float64(len(p.PathMM)); {
	case mean < -1:
		side = "on the left"
	case mean > 1:
		side = "on the right"
	}
	var s strings.Builder
	s.WriteString(fmt.Sprintf("%s runs %s", p.Name, side))
	for _, l := range c.Loads {
		if l.Name == p.Load {
			s.WriteString(fmt.Sprintf(" and carries %s, up to %s A", l.Name, say.Short(l.MaxCurrentA)))
		}
	}
	return s.String()
}
