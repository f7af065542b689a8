package picture

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
	"quietmount/survey"
)

// Description draws the craft as its file describes it, seen from above, nose up,
// so that a lead on the wrong side or a wrong sign is noticed before anything is
// measured.
func Description(c *survey.Craft) *draw.Picture {
	all := c.Stations()
	pic := draw.New(say.Named(c.Name)+": the craft as described", fmt.Sprintf("The craft seen from above, nose up: %s, %s, %s, %s.", say.Size(c),
		say.Counted(len(all), "station"), say.Counted(len(c.Parts), "part"), say.Counted(len(c.Keepouts), "keep-out")))
	g := described{draw.CraftPage(pic, c, descriptionHead(c, len(all)), 26, c.Module.FootprintMM.X, descriptionKeys(c))}
	for _, k := range c.Keepouts { // no name on the middle of a keep-out but its own
		box := k.OutlineMM.Bounds()
		g.Labels.TakeAround(g.Frame.At(r2.Scale(0.5, r2.Add(box.Min, box.Max))), 4)
	}
	g.Directions()
	g.dimensions(c)
	g.ScaleBar()
	g.footSample(c.Module)
	g.Outline(c)
	g.Keepouts(c)
	g.Leads(c)
	g.Cable(c)
	g.Datum()
	radius := g.StationRadius(all)
	g.Stations(all, radius)
	g.clearances(c)
	g.Parts(c)
	g.partNames(c)
	g.StationNames(all, radius)
	g.LeftOut()
	return pic
}

// described is the page of a description.
type described struct{ *draw.Page }

// descriptionHead returns the lines under the title.
func descriptionHead(c *survey.Craft, stations int) []string {
	m := c.MeasuringModule()
	lines := []string{
		fmt.Sprintf("Seen from above: %s, %s. From the datum x points forward, y right, z down.", say.Size(c), say.Counted(stations, "station")),
		fmt.Sprintf("The module may be mounted %s mm above the surface; the probe's sensor is %s mm above its foot.", strings.Join(say.Shorts(c.Heights), " or "), say.Short(m.SensorHeightMM)),
	}
	if len(c.Body.SurfacePoints) == 0 {
		lines[1] += fmt.Sprintf(" Surface: z %s mm.", say.Short(c.Body.SurfaceZMM))
	} else {
		lines[1] += fmt.Sprintf(" Curved surface, %d points.", len(c.Body.SurfacePoints))
	}
	return lines
}

// clearances draws the clearance that the module's edge must keep from a part, and
// the range in which a part can slide.
func (g described) clearances(c *survey.Craft) {
	for _, p := range c.Parts {
		if p.AtMM == nil {
			continue
		}
		at := g.Frame.At(draw.Flat(*p.AtMM))
		if p.ClearanceMM > 0 {
			g.Ring(at, p.ClearanceMM*g.Frame.Scale, draw.White, 2.2)
			g.Ring(at, p.ClearanceMM*g.Frame.Scale, draw.Solid, 0.8, 3, 2)
			g.Labels.AvoidAlong(around24(at, vg.Points(p.ClearanceMM*g.Frame.Scale)))
		}
		if p.SlideMM != nil {
			a, b := g.Frame.At(r2.Vec{X: p.SlideMM[0], Y: p.AtMM.Y}), g.Frame.At(r2.Vec{X: p.SlideMM[1], Y: p.AtMM.Y})
			g.Line([]vg.Point{a, b}, 0.9, draw.Solid)
			g.Labels.AvoidAlong([]vg.Point{a, b})
			g.Line(draw.Level(a, 3), 0.9, draw.Solid)
			g.Line(draw.Level(b, 3), 0.9, draw.Solid)
		}
	}
}

// around24 returns a circle as a closed line of 24 pieces.
func around24(at vg.Point, radius vg.Length) []vg.Point {
	out := make([]vg.Point, 25)
	for i := range out {
		sin, cos := math.Sincos(float64(i) * math.Pi / 12)
		out[i] = at.Add(vg.Point{X: radius * vg.Length(cos), Y: radius * vg.Length(sin)})
	}
	return out
}

// partNames names parts, leads, keep-outs and the cable's start.
func (g described) partNames(c *survey.Craft) {
	bold := draw.Style{Size: 8, Bold: true}
	reach := []float64{6, 10, 16, 24, 34, 48, 64}
	for _, p := range c.Parts {
		switch {
		case p.AtMM != nil:
			name := p.Name
			if p.MassG > 0 {
				name += ", " + say.Short(p.MassG) + " g"
			}
			g.Label(g.Frame.At(draw.Flat(*p.AtMM)), g.Placed(name, draw.Flat(*p.AtMM)), draw.Style{Size: 8, Bold: true, Ink: draw.Solid}, reach...)
		case len(p.PathMM) > 1:
			g.leadName(p, draw.Style{Size: 8, Bold: true, Ink: draw.Wire})
		}
	}
	for _, k := range c.Keepouts {
		box := k.OutlineMM.Bounds()
		g.Label(g.Frame.At(r2.Scale(0.5, r2.Add(box.Min, box.Max))), k.Name, bold, 0, 6, 12, 20, 30, 44)
	}
	if c.Cable != nil {
		g.Label(g.Frame.At(c.Cable.FromMM), "cable", bold, reach...)
	}
}

// leadName writes a lead's name somewhere along it, near its middle if possible.
func (g described) leadName(p survey.Part, st draw.Style) {
	left := g.Labels.Left // each failed attempt adds a name
	for _, share := range []float64{0.5, 0.6, 0.4, 0.7, 0.3, 0.8, 0.2, 0.9} {
		if g.Label(g.along(draw.Flats(p.PathMM), share), leadWords(p), st, 4, 7) {
			g.Labels.Left = left
			return
		}
	}
	if !g.Label(g.along(draw.Flats(p.PathMM), 0.5), leadWords(p), st, 16, 30, 48, 64) {
		left = append(left, p.Name)
	}
	g.Labels.Left = left
}

// along returns the place on paper at a share of a route's length.
func (g described) along(route []r2.Vec, share float64) vg.Point {
	total := 0.0
	for i := range len(route) - 1 {
		total += r2.Norm(r2.Sub(route[i+1], route[i]))
	}
	left := total * share
	for i := range len(route) - 1 {
		step := r2.Sub(route[i+1], route[i])
		if n := r2.Norm(step); n > 0 && left <= n {
			return g.Frame.At(r2.Add(route[i], r2.Scale(left/n, step)))
		} else {
			left -= n
		}
	}
	return g.Frame.At(route[0])
}

// leadWords returns a lead's name with how its return runs.
func leadWords(p survey.Part) string {
	switch {
	case len(p.ReturnPathMM) > 0:
		return p.Name + ", return apart"
	case p.GapMM > 0:
		return p.Name + ", gap " + say.Short(p.GapMM) + " mm"
	}
	return p.Name
}

// dimensions draws the craft's overall length at its right and its width under
// it.
func (g described) dimensions(c *survey.Craft) {
	box, f := c.Body.OutlineMM.Bounds(), g.Frame
	y := f.At(r2.Vec{X: f.Box.Min.X}).Y - 14
	left := vg.Point{X: f.At(r2.Vec{Y: box.Min.Y}).X, Y: y}
	right := vg.Point{X: f.At(r2.Vec{Y: box.Max.Y}).X, Y: y}
	g.Dimension(left, right, vg.Point{Y: 3}, say.Tenths(box.Max.Y-box.Min.Y), 0)
	x := f.At(r2.Vec{Y: f.Box.Max.Y}).X + 40
	low := vg.Point{X: x, Y: f.At(r2.Vec{X: box.Min.X}).Y}
	high := vg.Point{X: x, Y: f.At(r2.Vec{X: box.Max.X}).Y}
	g.Dimension(low, high, vg.Point{X: 3}, say.Tenths(box.Max.X-box.Min.X), draw.QuarterTurn)
}

// footSample draws the module's foot at the craft's scale under the craft, with
// its sensor and its arrow.
func (g described) footSample(m survey.Module) {
	length, width := m.FootprintMM.X*g.Frame.Scale, m.FootprintMM.Y*g.Frame.Scale
	if !(length > 0) || !(width > 0) || length > 58 {
		return
	}
	at := vg.Point{X: g.Frame.Region.Max.X - vg.Points(width/2+2), Y: vg.Points(g.Foot + 4 + length/2)}
	g.Loop(draw.BoxAround(at, vg.Points(width/2), vg.Points(length/2)), 1, draw.Black)
	sensor := at.Add(vg.Point{X: vg.Points(m.SensorOffsetMM.Y * g.Frame.Scale), Y: vg.Points(m.SensorOffsetMM.X * g.Frame.Scale)})
	top := at.Add(vg.Point{Y: vg.Points(length / 2)})
	g.Line([]vg.Point{at, top}, 0.8, draw.Black)
	g.Fill(draw.Black, []vg.Point{top, top.Add(vg.Point{X: -2.2, Y: -5}), top.Add(vg.Point{X: 2.2, Y: -5})})
	g.Disc(sensor, 1.7, draw.Black, draw.White, 0.7)
	words := "module's foot, sensor and arrow, to scale"
	g.Text(at.Add(vg.Point{X: -vg.Points(width/2 + 5)}), words, draw.Style{Size: draw.TextSize, Left: 1, Low: 0.5})
}

// descriptionKeys returns the legend, with entries in words for what a plan cannot
// show.
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
	if slices.ContainsFunc(c.Parts, func(p survey.Part) bool { return p.AtMM != nil && p.ClearanceMM > 0 }) {
		keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Ring(at, 4.5, draw.Solid, 0.8, 3, 2) }, Words: "clearance: the module's edge stays outside"})
	}
	m := c.Module
	keys = append(keys, draw.Key{Draw: func(p *draw.Pen, at vg.Point) { p.Loop(draw.BoxAround(at, 5, 5), 1, draw.Black) },
		Words: fmt.Sprintf("module %s: foot %s mm long, %s mm wide; sensor %s its middle", m.Name, say.Short(m.FootprintMM.X), say.Short(m.FootprintMM.Y), offsetWords(m))})
	for _, p := range c.Parts {
		if len(p.PathMM) > 1 {
			keys = append(keys, draw.Key{Draw: nil, Words: leadSentence(c, p)})
		} else if p.AtMM != nil {
			keys = append(keys, draw.Key{Draw: nil, Words: fmt.Sprintf("%s at x %s, y %s, z %s mm", p.Name, say.Short(p.AtMM.X), say.Short(p.AtMM.Y), say.Short(p.AtMM.Z))})
		}
	}
	for _, l := range c.Loads {
		if l.Reverses && !slices.ContainsFunc(c.Parts, func(p survey.Part) bool { return len(p.PathMM) > 1 && p.Load == l.Name }) {
			keys = append(keys, draw.Key{Draw: nil, Words: fmt.Sprintf("%s: up to %s A, in either direction", l.Name, say.Short(l.MaxCurrentA))})
		}
	}
	keys = append(keys, draw.Key{Draw: nil, Words: "heading errors are for: " + say.Attitudes(c.Limits) + say.YesNo(c.Limits.TiltAssumed, "; the lean is assumed", "")})
	if c.Cable != nil {
		keys = append(keys, draw.Key{Draw: nil, Words: fmt.Sprintf("cable: %s mm with %s mm of slack kept, from x %s, y %s mm",
			say.Short(c.Module.CableMM), say.Short(c.Cable.SlackMM), say.Short(c.Cable.FromMM.X), say.Short(c.Cable.FromMM.Y))})
	}
	if c.Base != nil {
		keys = append(keys, draw.Key{Draw: nil, Words: draw.BaseWords(c)})
	}
	return append(keys, draw.LackingKey(c)...)
}

// offsetWords describes the sensor's place relative to the middle of the foot.
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

// leadSentence states which load a lead feeds and on which side of the craft it is.
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
	words := fmt.Sprintf("%s runs %s", p.Name, side)
	for _, l := range c.Loads {
		if l.Name == p.Load {
			words += fmt.Sprintf(" and carries %s, up to %s A%s", l.Name, say.Short(l.MaxCurrentA), say.YesNo(l.Reverses, ", in either direction", ""))
		}
	}
	return words
}
