package guide

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// slipKey names a remark, so that it is made once.
type slipKey struct {
	code    string
	capture int
}

// How sure the guide is before it names a slip. The figures are by simulation
// over fields with magnets beside the stations (see the tests): an honest
// walk is hardly ever accused.
const (
	slipSurprise = 4.0  // standard deviations off, together
	slipFit      = 3.0  // and the slip explains it to within these
	slipShare    = 0.35 // and to within this share of the surprise
	slipGain     = 14.0 // log likelihood gained
	slipNoiseUT  = 1.3  // least scale: 1.5 degrees of hand in 50 uT
	slipReach    = 1.6  // spacings to a mark that could be taken for this one
)

// slips compares the new capture, and those near it, with what their
// neighbours predict. At most one slip is named for a capture, once.
func (w *Walk) slips(c *survey.Capture) []Event {
	if c.Visit == survey.VisitBase {
		return nil
	}
	places := w.places()
	var out []Event
	for _, i := range w.affected(places, c) {
		code, why := w.slip(places, i)
		key := slipKey{code, places[i].capture}
		if code == "" || w.warned[key] {
			continue
		}
		w.warned[key] = true
		e := warn(code, why)
		e.Station = survey.Station{Name: places[i].name, At: places[i].at}
		out = append(out, e)
	}
	return out
}

// affected are the indices of the new capture and of its near neighbours,
// which it makes better known.
func (w *Walk) affected(places []place, c *survey.Capture) []int {
	reach := slipReach * meanNearest(places)
	var out []int
	for i, p := range places {
		if p.capture == c.Number || r3.Norm(r3.Sub(p.at, c.At)) <= reach {
			out = append(out, i)
		}
	}
	return out
}

// slip names the likeliest slip at place i, or nothing.
func (w *Walk) slip(places []place, i int) (code, why string) {
	p := places[i]
	others := without(places, i, -1)
	l, ok := newLocal(others, p.at, slipNoiseUT)
	if !ok {
		return "", ""
	}
	mean, variance := l.at(p.at)
	now := fitOf(p.b, mean, variance)
	if now.sigmas() < slipSurprise {
		return "", ""
	}
	best := slipGain
	try := func(f fit, c, text string) {
		if gain := now.against(f); gain > best {
			best, code, why = gain, c, text
		}
	}
	w.tryTurns(p, mean, variance, try)
	w.tryLifted(p, mean, variance, try)
	w.tryMarks(places, i, l, try)
	return code, why
}

// fit is a reading seen against a prediction.
type fit struct {
	off      float64 // length of the residual, uT
	variance float64 // of a component

}

func fitOf(b, mean r3.Vec, variance float64) fit {
	return fit{r3.Norm(r3.Sub(b, mean)), variance}
}

// sigmas is the residual in standard deviations.
func (f fit) sigmas() float64 { return f.off / math.Sqrt(f.variance) }

// logLikelihood is that of a normal vector, constants left out.
func (f fit) logLikelihood() float64 {
	return -0.5*f.off*f.off/f.variance - 1.5*math.Log(f.variance)
}

// against is the log likelihood that an explanation gains over f; minus
// infinity where it does not explain enough.
func (f fit) against(better fit) float64 {
	if better.sigmas() > slipFit || better.off > slipShare*f.off {
		return math.Inf(-1)
	}
	return better.logLikelihood() - f.logLikelihood()
}

// tryTurns sees whether the reading fits once the probe is turned back about
// the vertical by a quarter or a half.
func (w *Walk) tryTurns(p place, mean r3.Vec, variance float64, try func(fit, string, string)) {
	b := r3.Add(p.b, p.prior)
	for _, deg := range []int{180, 90, -90} {
		turned := r3.Sub(turnZ(b, deg), p.prior)
		try(fitOf(turned, mean, variance), CodeTurnedArrow, msgTurned(p.name, deg))
	}
}

// turnZ is what a probe that reads b would read with the arrow at the nose,
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

// tryLifted sees whether the reading is a faint picture of what the
// neighbours predict: the same departure from the base, far smaller.
func (w *Walk) tryLifted(p place, mean r3.Vec, variance float64, try func(fit, string, string)) {
	if w.baseB == nil || len(w.cfg.Prior) > 0 {
		return
	}
	want, got := r3.Sub(mean, *w.baseB), r3.Sub(p.b, *w.baseB)
	share := r3.Dot(got, want) / r3.Dot(want, want)
	if !(share > 0.02) || share > 0.5 {
		return
	}
	try(fitOf(p.b, r3.Add(*w.baseB, r3.Scale(share, want)), variance), CodeLifted, msgLifted(p.name))
}

// tryMarks sees whether the reading fits a mark nearby better: one that was
// not captured yet, or one whose own reading fits here in exchange.
func (w *Walk) tryMarks(places []place, i int, l *local, try func(fit, string, string)) {
	p := places[i]
	reach := slipReach * meanNearest(places)
	index := map[string]int{}
	for k, q := range places {
		index[q.name] = k
	}
	for _, s := range w.marks() {
		if s.Name == p.name || r3.Norm(r3.Sub(s.At, p.at)) > reach {
			continue
		}
		if k, captured := index[s.Name]; captured {
			w.trySwap(places, i, k, try)
			continue
		}
		prior, known := w.prior(s.Name)
		if !known {
			continue
		}
		mean, variance := l.at(s.At)
		reading := r3.Sub(r3.Add(p.b, p.prior), prior)
		try(fitOf(reading, mean, variance), CodeWrongMark, msgWrongMark(p.name, s.Name))
	}
}

// trySwap sees whether the readings of two places fit better the other way
// round: both must gain by it.
func (w *Walk) trySwap(places []place, i, k int, try func(fit, string, string)) {
	p, q := places[i], places[k]
	l, ok := newLocal(without(places, i, k), p.at, slipNoiseUT)
	if !ok {
		return
	}
	pMean, pVar := l.at(p.at)
	qMean, qVar := l.at(q.at)
	pb, qb := r3.Add(p.b, p.prior), r3.Add(q.b, q.prior)
	pThere, qHere := fitOf(r3.Sub(pb, q.prior), qMean, qVar), fitOf(r3.Sub(qb, p.prior), pMean, pVar)
	pNow, qNow := fitOf(p.b, pMean, pVar), fitOf(q.b, qMean, qVar)
	if pNow.against(qHere)+qNow.against(pThere) > slipGain {
		// Both fit the other's place: the weaker of the two gains decides.
		try(worse(pThere, qHere), CodeWrongMark, msgSwapped(p.name, q.name))
	}
}

func worse(a, b fit) fit {
	if a.sigmas() > b.sigmas() {
		return a
	}
	return b
}

// marks are all the marks a probe could stand on.
func (w *Walk) marks() []survey.Station {
	if w.cfg.Craft != nil {
		if s := w.cfg.Craft.Stations(); len(s) > 0 {
			return s
		}
	}
	var out []survey.Station
	seen := map[string]bool{}
	for _, v := range w.cfg.Route.Visits {
		if v.Kind != survey.VisitBase && !seen[v.Station.Name] {
			seen[v.Station.Name] = true
			out = append(out, v.Station)
		}
	}
	return out
}

// without leaves out the places i and k.
func without(places []place, i, k int) []place {
	out := make([]place, 0, len(places))
	for j, p := range places {
		if j != i && j != k {
			out = append(out, p)
		}
	}
	return out
}
