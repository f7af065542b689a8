package guide

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// slipKey identifies a remark, so that it is made once.
type slipKey struct {
	code    string
	capture int
}

// Thresholds for a remark on a slip, by simulation over fields with magnets under
// and beside the stations (see the tests): a walk without slips hardly ever gets
// one.
const (
	slipSurprise = 20.0 // squared standard deviations off; three degrees of freedom
	slipFit      = 12.0 // and the slip explains it to within these
	slipShare    = 0.35 // and to within this share of the residual's length
	liftSurprise = 80.0 // for a lifted probe, which a bold field looks like
	liftUT       = 30.0 // and the departure from the base that is missed
	slipReach    = 1.6  // spacings to a mark that could be taken for this one
	slipKnown    = 0.4  // the field at a mark not captured yet must be known to within this share of the residual
)

// slips compares the new capture, and those near it, with what their
// neighbours predict. It examines only the one that fits worst, since a wrong
// reading makes its neighbours look wrong too.
func (w *Walk) slips(c *logbook.Capture) []Event {
	places := w.places()
	near := magnetReach * meanNearest(places)
	places = slices.DeleteFunc(places, func(p place) bool {
		return w.warned[slipKey{"", p.capture}] || w.besideMagnet(p.at, near)
	})
	m, ok := newModel(places, c.At)
	if !ok {
		return nil
	}
	i := m.mostSurprising(c.At, slipReach*m.spacing)
	if i < 0 {
		return nil
	}
	why := w.slip(m, i)
	if why.IsZero() || m.restsOnOne(i) {
		return nil
	}
	p := m.from[i]
	w.warned[slipKey{"", p.capture}] = true
	e := warn(why)
	e.Station = survey.Station{Name: p.name, At: p.at}
	return []Event{e}
}

// magnetReach is the distance from a magnet of the craft file, in spacings, within
// which a reading is not compared with its neighbours.
const magnetReach = 1.1

// besideMagnet reports whether a magnetic part of the craft is within magnetReach.
func (w *Walk) besideMagnet(at r3.Vec, reach float64) bool {
	if w.cfg.Craft == nil || w.cfg.State == survey.StateBackground {
		return false
	}
	return slices.ContainsFunc(w.cfg.Craft.Parts, func(p survey.Part) bool {
		return p.Magnetic && p.AtMM != nil && r3.Norm(r3.Sub(*p.AtMM, at)) < reach
	})
}

// mostSurprising returns the index of the place within reach that fits its
// neighbours worst; -1 if all fit.
func (m *model) mostSurprising(at r3.Vec, reach float64) int {
	worst, index := slipSurprise, -1
	for i, p := range m.from {
		d := magmath.Mahalanobis(m.left.Residual[i], m.left.Cov[i])
		if r3.Norm(r3.Sub(p.at, at)) <= reach && d > worst {
			worst, index = d, i
		}
	}
	return index
}

// restsOnOne reports whether place i fits once its worst neighbour is left out:
// then either may be wrong, and later captures decide.
func (m *model) restsOnOne(i int) bool {
	worst, suspect := slipSurprise, -1
	for k, p := range m.from {
		d := magmath.Mahalanobis(m.left.Residual[k], m.left.Cov[k])
		if k != i && d > worst && r3.Norm(r3.Sub(p.at, m.from[i].at)) <= 2*m.spacing {
			worst, suspect = d, k
		}
	}
	if suspect < 0 {
		return false
	}
	rest, err := m.without(m.from[suspect].name)
	if err != nil {
		return true
	}
	again := slices.IndexFunc(rest.from, func(p place) bool { return p.name == m.from[i].name })
	return magmath.Mahalanobis(rest.left.Residual[again], rest.left.Cov[again]) < slipSurprise
}

// explanation is the best of the slips that would explain a reading.
type explanation struct {
	now  fit
	best float64
	why  remark.Remark
}

func (x *explanation) try(f fit, why remark.Remark) {
	if f.distance > slipFit || r3.Norm(f.off) > slipShare*r3.Norm(x.now.off) || f.distance >= x.best {
		return
	}
	x.best, x.why = f.distance, why
}

// slip returns the likeliest slip at place i of the model; zero for none.
func (w *Walk) slip(m *model, i int) remark.Remark {
	x := &explanation{now: newFit(m.left.Residual[i], m.left.Cov[i]), best: math.Inf(1)}
	w.tryTurns(m.from[i], x)
	w.tryLifted(m.from[i], x)
	w.tryMarks(m, i, x)
	return x.why
}

// tryTurns tests whether the reading fits once the probe is turned back about
// the vertical by a quarter or a half.
func (w *Walk) tryTurns(p place, x *explanation) {
	reading := r3.Add(p.b, p.prior)
	for _, deg := range []int{180, 90, -90} {
		change := r3.Sub(turnZ(reading, deg), reading)
		x.try(newFit(r3.Add(x.now.off, change), x.now.cov), turnedArrow(p.name, deg))
	}
}

// turnedArrow returns the remark on an arrow that points deg degrees to the right of
// the nose.
func turnedArrow(station string, deg int) remark.Remark {
	at := remark.Place{Station: station}
	if deg == 180 {
		return remark.New("guide.turned-arrow:backwards").At(at)
	}
	side := "right"
	if deg < 0 {
		side = "left"
	}
	return remark.New("guide.turned-arrow", remark.Values{"side": side}).At(at)
}

// turnZ returns what a probe that reads b would read with the arrow at the nose,
// if the arrow now points deg degrees to the right of it (x forward, y right,
// z down).
func turnZ(b r3.Vec, deg int) r3.Vec {
	switch deg {
	case 180:
		return r3.Vec{X: -b.X, Y: -b.Y, Z: b.Z}
	case 90:
		return r3.Vec{X: -b.Y, Y: b.X, Z: b.Z}
	}
	return r3.Vec{X: b.Y, Y: -b.X, Z: b.Z}
}

// tryLifted tests whether the reading is a weakened form of what the neighbours
// predict: the same departure from the base, but far smaller.
func (w *Walk) tryLifted(p place, x *explanation) {
	if w.baseB == nil || len(w.cfg.Prior) > 0 {
		return
	}
	got := r3.Sub(p.b, *w.baseB)
	want := r3.Sub(got, x.now.off)
	share := r3.Dot(got, want) / r3.Dot(want, want)
	if !(share > 0.02) || share > 0.4 || x.now.distance < liftSurprise || r3.Norm(want) < liftUT {
		return
	}
	// A field seen from higher up is also smoother, but only to a degree.
	off := r3.Sub(got, r3.Scale(share, want))
	if r3.Norm(off) < 0.15*r3.Norm(want) {
		x.try(newFit(off, x.now.cov), remark.New("guide.lifted").At(remark.Place{Station: p.name}))
	}
}

// tryMarks tests whether the reading fits a mark nearby better: one that was
// not captured yet, or one whose own reading fits here in exchange.
func (w *Walk) tryMarks(m *model, i int, x *explanation) {
	p := m.from[i]
	alone, err := m.without(p.name)
	if err != nil {
		return
	}
	for _, s := range w.marks() {
		if s.Name == p.name || r3.Norm(r3.Sub(s.At, p.at)) > slipReach*m.spacing {
			continue
		}
		k := slices.IndexFunc(m.from, func(q place) bool { return q.name == s.Name })
		if k >= 0 {
			w.trySwap(m, i, k, x)
			continue
		}
		if prior, known := w.prior(s.Name); known && !w.captured(s.Name) {
			there := alone.at(s.At, r3.Sub(r3.Add(p.b, p.prior), prior))
			// A mark with an uncertain prediction would fit anything.
			if math.Sqrt(there.cov.Trace()) < slipKnown*r3.Norm(x.now.off) {
				x.try(there, remark.New("guide.wrong-mark", remark.Values{"fits": s.Name}).At(remark.Place{Station: p.name}))
			}
		}
	}
}

// captured reports whether a station has a capture that counts.
func (w *Walk) captured(station string) bool {
	return slices.ContainsFunc(w.captures, func(c *logbook.Capture) bool { return c.Station == station && c.Void == "" })
}

// trySwap tests whether the readings of two places fit better the other way
// round; the poorer of the two fits decides.
func (w *Walk) trySwap(m *model, i, k int, x *explanation) {
	p, q := m.from[i], m.from[k]
	rest, err := m.without(p.name, q.name)
	if err != nil {
		return
	}
	there := rest.at(q.at, r3.Sub(r3.Add(p.b, p.prior), q.prior))
	here := rest.at(p.at, r3.Sub(r3.Add(q.b, q.prior), p.prior))
	if here.distance < rest.at(q.at, q.b).distance {
		if here.distance > there.distance {
			there = here
		}
		x.try(there, remark.New("guide.wrong-mark:exchanged", remark.Values{"other": q.name}).At(remark.Place{Station: p.name}))
	}
}

// marks returns all marks that a probe could stand on.
func (w *Walk) marks() []survey.Station {
	if w.cfg.Craft != nil {
		if s := w.cfg.Craft.Stations(); len(s) > 0 {
			return s
		}
	}
	var out []survey.Station
	seen := map[string]bool{}
	for _, v := range w.cfg.Route.Visits {
		if v.Kind != logbook.VisitBase && !seen[v.Station.Name] {
			seen[v.Station.Name] = true
			out = append(out, v.Station)
		}
	}
	return out
}
