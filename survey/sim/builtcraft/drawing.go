package builtcraft

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// What a craft is drawn with.
const (
	motorPart      = 0.01   // of its permanent moment, by which a motor's moment changes at full current
	slowPart       = 1. / 3 // of the craft, in which one load is measured at benchPart of its maximum
	benchPart      = 1. / 6
	secondPart     = 0.5  // of the craft, with a second current
	togetherPart   = 0.7  // of those, in which both run together
	reversePart    = 0.25 // of the craft, whose currents flow either way
	moverPart      = 0.25 // of the craft, with a servo that moves a magnet
	twistedPart    = 0.35 // of the leads
	namedPart      = 0.65 // of the magnets
	cablePart      = 0.6  // of the craft, with a limited cable
	referenceHUT   = 0.133
	measuredMM     = 2 // standard deviation of a coordinate as the builder writes it
	shortestLeadMM = 150
	leastPlaces    = 20 // of a grid of 16 mm, on which the module may be mounted
)

// drawing draws a craft into b and its description into c.
type drawing struct {
	b   *Built
	c   *survey.Craft
	rng *rand.Rand

	pack r3.Vec // where all leads begin
}

func (d *drawing) between(a, b float64) float64 { return a + (b-a)*d.rng.Float64() }

func (d *drawing) chance(part float64) bool { return d.rng.Float64() < part }

// log draws between a and b, evenly on a logarithmic scale.
func (d *drawing) log(a, b float64) float64 { return a * math.Pow(b/a, d.rng.Float64()) }

func (d *drawing) direction() r3.Vec { return r3.Unit(normal3(d.rng)) }

func (d *drawing) craft() {
	site, reference := newSite(d.rng, d.b.Kind)
	d.c.Name, d.c.Site = fmt.Sprintf("built %s %d", d.b.Kind, d.b.Seed), site
	d.c.Limits = survey.Limits{HeadingErrorDeg: 5, SteadyUT: 200, TiltDeg: d.b.TiltDeg, SlipMM: d.b.SlipMM}
	d.b.HUT = reference.X + referenceHUT*d.rng.NormFloat64()
	d.b.room = newRoom(d.rng, reference, d.b.Kind)
	d.b.NoseDeg = math.Round(d.between(0, 360))
	d.module()
	d.body()
	d.currents()
	if d.chance(moverPart) {
		d.mover()
	}
	d.magnets()
	d.iron()
	d.limits()
	d.loadsOnTheBench()
}

// module draws a module that lies flat, label up or down, its arrow any way round.
func (d *drawing) module() {
	side := math.Round(d.between(26, 40))
	letters := [][]string{
		{"+x", "+y", "+z"}, {"+y", "-x", "+z"}, {"-x", "-y", "+z"}, {"-y", "+x", "+z"},
		{"+x", "-y", "-z"}, {"-y", "-x", "-z"}, {"-x", "+y", "-z"}, {"+y", "+x", "-z"},
	}
	axes, err := survey.AxesFromLetters(letters[d.rng.IntN(len(letters))])
	if err != nil {
		panic("builtcraft: " + err.Error())
	}
	d.c.Module = survey.Module{
		Name: "puck", MassG: 24, RangeUT: rangeUT, FootprintMM: r2.Vec{X: side, Y: side},
		SensorHeightMM: math.Round(d.between(4, 12)), Axes: &axes,
	}
}

// body draws one of three outlines, the deck, 40 to 60 stations and the base.
func (d *drawing) body() {
	shapes := [][]r2.Vec{
		{{X: 350, Y: -80}, {X: 350, Y: 80}, {X: 250, Y: 170}, {X: -350, Y: 180}, {X: -350, Y: -180}, {X: 250, Y: -170}},
		{{X: 190, Y: -75}, {X: 190, Y: 75}, {X: 75, Y: 190}, {X: -75, Y: 190}, {X: -190, Y: 75}, {X: -190, Y: -75}, {X: -75, Y: -190}, {X: 75, Y: -190}},
		{{X: 130, Y: -60}, {X: 130, Y: 60}, {X: 40, Y: 430}, {X: -80, Y: 430}, {X: -150, Y: 60}, {X: -150, Y: -60}, {X: -80, Y: -430}, {X: 40, Y: -430}},
	}
	long, wide := d.between(0.85, 1.15), d.between(0.85, 1.15)
	for _, p := range shapes[d.rng.IntN(len(shapes))] {
		d.c.Body.OutlineMM = append(d.c.Body.OutlineMM, r2.Vec{X: whole(long * p.X), Y: whole(wide * p.Y)})
	}
	d.c.Body.SurfaceZMM = whole(d.between(-30, 0))
	d.c.Body.Fitted = []string{"pack", "hatch shut"}
	d.c.Heights = []float64{0}
	want := 43 + d.rng.IntN(15)
	for spacing, off := 95.0, 100; spacing >= 25; spacing -= 0.5 {
		g := survey.Grid{SpacingMM: spacing}
		nodes, ok := g.Nodes(d.c.Body.OutlineMM, 60)
		if n := len(nodes) - want; ok && len(nodes) >= 40 && max(n, -n) < off {
			off, d.c.Grid = max(n, -n), &g
		}
	}
	nose := d.c.Body.OutlineMM.Bounds().Max.X
	d.c.Base = &survey.Station{Name: "T", At: r3.Vec{X: whole(nose + 400), Z: d.c.Body.SurfaceZMM}}
}

// under draws a place in the craft, near to far mm under the deck.
func (d *drawing) under(near, far float64) r3.Vec {
	box := d.c.Body.OutlineMM.Bounds()
	for {
		p := r2.Vec{X: d.between(box.Min.X, box.Max.X), Y: d.between(box.Min.Y, box.Max.Y)}
		if d.c.Body.OutlineMM.Contains(p) {
			return r3.Vec{X: p.X, Y: p.Y, Z: d.c.Body.SurfaceZMM + d.between(near, far)}
		}
	}
}

// written returns a place as the builder writes it: measured, in whole mm.
func (d *drawing) written(p r3.Vec) r3.Vec {
	q := r3.Add(p, r3.Scale(measuredMM, normal3(d.rng)))
	return r3.Vec{X: whole(q.X), Y: whole(q.Y), Z: whole(q.Z)}
}

// named adds a magnetic part to the description, unless the builder forgot it.
func (d *drawing) named(name string, at r3.Vec, massG float64) {
	if d.chance(namedPart) {
		q := d.written(at)
		d.c.Parts = append(d.c.Parts, survey.Part{Name: name, AtMM: &q, MassG: massG, Magnetic: true})
	}
}

// currents draws one or two loads from one pack, each with its lead and motor.
func (d *drawing) currents() {
	n := 1
	if d.chance(secondPart) {
		n = 2
	}
	d.pack = d.under(20, 60)
	names := []string{"motor 1", "motor 2"}[:n]
	together, reverses := n == 2 && d.chance(togetherPart), d.chance(reversePart)
	for i, name := range names {
		amperes := math.Round(10*d.between(12, 40)) / 10
		if d.b.Kind == Quiet {
			amperes = math.Round(10*d.between(2, 8)) / 10
		}
		l := survey.Load{Name: name, Kind: survey.LoadCurrent, MaxCurrentA: amperes, Reverses: reverses}
		if together {
			l.TogetherWith = []string{names[1-i]}
		}
		d.c.Loads = append(d.c.Loads, l)
		way := d.lead()
		part := survey.Part{Name: "lead of " + name, Load: name}
		if way.pitchMM == 0 {
			part.GapMM = math.Round(way.gapMM)
		}
		for _, p := range way.path {
			part.PathMM = append(part.PathMM, d.written(p))
		}
		d.c.Parts = append(d.c.Parts, part)
		s := shift{full: amperes, conduct: way.circuit(d.rng)}
		d.motor(name, way.path[len(way.path)-1], amperes, &s)
		d.b.shifts[name] = s
	}
}

// lead draws a lead from the pack to a motor, at times around a corner.
func (d *drawing) lead() laid {
	w := laid{gapMM: d.between(5, 22), sagMM: d.between(1, 6), boardMM: d.between(6, 12), roofMM: d.c.Body.SurfaceZMM + roofGapMM}
	if d.chance(twistedPart) {
		w.gapMM, w.pitchMM = d.between(3, 5), d.between(25, 50)
	}
	end := d.under(20, 60)
	for r3.Norm(r3.Sub(end, d.pack)) < shortestLeadMM {
		end = d.under(20, 60)
	}
	w.path = []r3.Vec{d.pack, end}
	if corner := d.under(20, 60); d.chance(0.5) && r3.Norm(r3.Sub(corner, d.pack)) > 50 && r3.Norm(r3.Sub(corner, end)) > 50 {
		w.path = []r3.Vec{d.pack, corner, end}
	}
	return w
}

// weak is the factor of every permanent moment.
func (d *drawing) weak() float64 {
	if d.b.Kind == Quiet {
		return 0.05
	}
	return 1
}

// motor draws a motor near the end of its lead: a ring of magnets, whose moment changes
// with the current in a direction of its own, in a bell of steel.
func (d *drawing) motor(name string, end r3.Vec, amperes float64, s *shift) {
	at, axis := r3.Add(end, r3.Scale(15, d.direction())), d.direction()
	at.Z = max(at.Z, d.c.Body.SurfaceZMM+20)
	radius, length := d.between(8, 15), d.between(8, 20)
	moment := d.weak() * d.log(0.05, 0.5)
	ring := cylinder(at, axis, radius*0.8, length)
	s.permanent = magnetised(ring, r3.Scale(moment, d.direction()))
	s.magnets = magnetised(ring, r3.Scale(motorPart*moment/amperes, d.direction()))
	d.b.still = append(d.b.still, s.permanent...)
	d.b.steels = append(d.b.steels, newSteel(tube(at, axis, radius, length), axis, d.between(1500, 4000), 0.25, 0.4))
	d.named(name+" itself", at, 90)
}

// mover draws a servo that carries a magnet from one pose to another.
func (d *drawing) mover() {
	at, axis := d.under(40, 70), d.direction()
	moment := d.weak() * d.log(0.01, 0.08)
	first := magnetised(cylinder(at, axis, 4, 3), r3.Scale(moment, axis))
	d.b.still = append(d.b.still, first...)
	pivot := r3.Add(at, r3.Scale(d.between(5, 15), d.direction()))
	turn := r3.NewRotation(d.between(60, 120)*math.Pi/180, d.direction())
	other := turn.Rotate(axis)
	second := magnetised(cylinder(r3.Add(pivot, turn.Rotate(r3.Sub(at, pivot))), other, 4, 3), r3.Scale(moment, other))
	s := shift{full: 1, magnets: second}
	for _, x := range first {
		s.magnets = append(s.magnets, dipole{x.at, r3.Scale(-1, x.moment)})
	}
	const name = "servo"
	d.b.shifts[name] = s
	l := survey.Load{Name: name, Kind: survey.LoadMoving}
	for _, o := range d.c.Loads {
		l.TogetherWith = append(l.TogetherWith, o.Name)
	}
	d.c.Loads = append(d.c.Loads, l)
	d.named("servo itself", at, 20)
	body := r3.Add(at, r3.Scale(12, d.direction()))
	d.steel(block(body, d.direction(), r3.Vec{X: 22, Y: 20, Z: 12}), d.direction(), d.between(1000, 2500), 0.3, 0.36, d.log(1e-3, 5e-3))
}

// steel adds a body of steel with a permanent moment of its own besides the induced.
func (d *drawing) steel(body []grain, axis r3.Vec, volumeMM3, along, across, moment float64) {
	d.b.steels = append(d.b.steels, newSteel(body, axis, volumeMM3, along, across))
	m := r3.Scale(d.weak()*moment, r3.Unit(r3.Add(axis, r3.Scale(0.4, normal3(d.rng)))))
	d.b.still = append(d.b.still, magnetised(body, m)...)
}

// magnets draws one to three discs or blocks of 1.0 to 1.3 T.
func (d *drawing) magnets() {
	for i := range 1 + d.rng.IntN(3) {
		at, axis := d.under(15, 70), d.direction()
		size := r3.Vec{X: d.between(1.5, 4), Y: d.between(3, 9), Z: d.between(3, 9)}
		body, volume := block(at, axis, size), size.X*size.Y*size.Z
		if d.chance(0.6) {
			body, volume = cylinder(at, axis, size.Y/2, size.X), math.Pi/4*size.Y*size.Y*size.X
		}
		// m = Br V / mu0
		moment := d.weak() * d.between(1, 1.3) * volume * 1e-9 / (4 * math.Pi * 1e-7)
		d.b.still = append(d.b.still, magnetised(body, r3.Scale(moment, axis))...)
		d.named(fmt.Sprintf("magnet %d", i+1), at, 3)
	}
}

// iron draws screws, which nobody writes down, and in half of the craft a pack in steel
// cans.
func (d *drawing) iron() {
	for range 2 + d.rng.IntN(4) {
		at, axis := d.under(16, 45), d.direction()
		d.steel(rod(at, axis, d.between(10, 25)), axis, d.between(60, 300), d.between(0.08, 0.15), 0.45, d.log(1e-4, 1.5e-3))
	}
	if d.chance(0.5) {
		at, axis := d.under(30, 60), r3.Vec{X: 1}
		d.steel(block(at, axis, r3.Vec{X: 65, Y: 36, Z: 18}), axis, d.between(5000, 12000), 0.22, 0.39, d.log(1e-3, 1e-2))
		d.named("pack", at, 300)
	}
}

// limits draws the keep-outs, the clearance of one part and the cable, until there is
// room to mount.
func (d *drawing) limits() {
	bare := slices.Clone(d.c.Parts)
	for {
		d.c.Keepouts, d.c.Cable, d.c.Module.CableMM, d.c.Parts = nil, nil, 0, slices.Clone(bare)
		for i := range 1 + d.rng.IntN(2) {
			at, w, h := d.under(0, 0), d.between(15, 45), d.between(15, 45)
			k := survey.Keepout{Name: fmt.Sprintf("hatch %d", i+1)}
			for _, c := range []r2.Vec{{X: w, Y: -h}, {X: w, Y: h}, {X: -w, Y: h}, {X: -w, Y: -h}} {
				k.OutlineMM = append(k.OutlineMM, r2.Vec{X: whole(at.X + c.X), Y: whole(at.Y + c.Y)})
			}
			d.c.Keepouts = append(d.c.Keepouts, k)
		}
		if i := d.rng.IntN(len(d.c.Parts)); d.c.Parts[i].AtMM != nil {
			d.c.Parts[i].ClearanceMM = math.Round(d.between(5, 20))
		}
		reach := math.Round(d.between(130, 260))
		from := r2.Vec{X: d.pack.X + 40*d.rng.NormFloat64(), Y: d.pack.Y + 40*d.rng.NormFloat64()}
		if d.chance(cablePart) {
			d.c.Module.CableMM = 20 + reach
			d.c.Cable = &survey.Cable{FromMM: r2.Vec{X: whole(from.X), Y: whole(from.Y)}, SlackMM: 20}
		}
		if d.places() >= leastPlaces {
			return
		}
	}
}

// places counts the nodes of a grid of 16 mm on which the module may be mounted.
func (d *drawing) places() int {
	box, n := d.c.Body.OutlineMM.Bounds(), 0
	for x := box.Min.X; x <= box.Max.X; x += 16 {
		for y := box.Min.Y; y <= box.Max.Y; y += 16 {
			at := r2.Vec{X: x, Y: y}
			if d.c.Cable != nil && r2.Norm(r2.Sub(at, d.c.Cable.FromMM)) > d.c.Module.CableMM-d.c.Cable.SlackMM {
				continue
			}
			if len(d.c.Obstacles(at)) == 0 {
				n++
			}
		}
	}
	return n
}

// loadsOnTheBench fixes the amperes that the bench allows.
func (d *drawing) loadsOnTheBench() {
	slow := -1
	if d.chance(slowPart) {
		slow = d.rng.IntN(len(currentLoads(d.c)))
	}
	for i, l := range currentLoads(d.c) {
		d.b.BenchA[l.Name] = l.MaxCurrentA
		if i == slow {
			d.b.BenchA[l.Name] = math.Round(100*benchPart*l.MaxCurrentA) / 100
		}
	}
}

// currentLoads returns the loads of c that are currents, which stand first.
func currentLoads(c *survey.Craft) []survey.Load {
	n := 0
	for n < len(c.Loads) && c.Loads[n].Kind == survey.LoadCurrent {
		n++
	}
	return c.Loads[:n]
}

// whole rounds to whole mm, without a negative zero.
func whole(v float64) float64 { return math.Round(v) + 0 }
