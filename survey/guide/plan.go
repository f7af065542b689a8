package guide

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Visit is one stop of a walk.
type Visit struct {
	Station survey.Station
	Kind    logbook.Visit
}

// Route is a planned walk: the visits in order, with its warnings and settings.
type Route struct {
	Visits   []Visit
	Base     *survey.Station // nil: no base returns
	Every    int             // stations between base returns, at most
	Warnings []remark.Remark // what is missing, such as base returns
	Pulsed   bool
	Rhythm   logbook.Rhythm // of a pulsed walk
	Rules    Rules
}

// PlanOptions are the options of a route. The zero value plans a plain walk over
// all stations with the default rules.
type PlanOptions struct {
	State    string           // background takes a few well-spread stations unless Full
	Stations []survey.Station // nil: the craft's own
	Most     int              // walk this many of them, those that cover the area best; 0: as the state has it
	Full     bool             // every station, for a background run too
	Pulsed   bool
	Rhythm   logbook.Rhythm // zero: logbook.DefaultRhythm
	Settings int            // how often the probe is set down at each station; 0: once, and a few of them again
	Rules    Rules          // zero: DefaultRules
}

// ErrNoStations reports a craft without stations.
var ErrNoStations = errors.New("the craft has no stations: add a [grid] whose nodes fall inside the outline, or a [[station]]")

// Plan plans the walk over a craft's stations: the base station at the
// start, at the end and between, one station captured again out of order, and
// an order that keeps the moves short without running along the craft, so that
// drift does not look like a gradient. Without a base station the route has no
// base returns and a warning. Base returns due by time are not in the route:
// the walk adds them.
func Plan(craft *survey.Craft, o PlanOptions) (Route, error) {
	stations := o.Stations
	if stations == nil && craft != nil {
		stations = craft.Stations()
	}
	if len(stations) == 0 {
		return Route{}, ErrNoStations
	}
	rules := o.Rules.orDefault()
	route := Route{Every: rules.BaseEvery, Pulsed: o.Pulsed, Rhythm: rhythmOrDefault(o.Rhythm), Rules: rules}
	spacing := 0.0
	if craft != nil {
		route.Base = craft.Base
		if craft.Grid != nil {
			spacing = craft.Grid.SpacingMM
		}
	}
	if route.Base == nil {
		route.Warnings = append(route.Warnings, remark.New("guide.no-base"))
	}
	order := sparing(spread(stations, o.most(rules)), spacing)
	visits := withRepeats(order, rules.RepeatFraction)
	if o.Settings > 0 {
		visits = settings(order, o.Settings)
	}
	route.Visits = withBase(visits, route.Base, rules.BaseEvery)
	return route, nil
}

// most returns the number of stations to visit; 0: all.
func (o PlanOptions) most(rules Rules) int {
	if o.Most == 0 && o.State == survey.StateBackground && !o.Full {
		return rules.BackgroundStations
	}
	return o.Most
}

// Seconds that an operator needs for each visit besides the dwell; common
// practice, no source.
const (
	moveS      = 8  // lift, carry, set down, arrow to the nose, hand away
	baseMoveS  = 14 // the same to or from the base
	startS     = 60 // the checklist
	nominalMmS = 150
)

// Minutes estimates how long the walk takes: moving, coming to rest and
// dwelling.
func (r Route) Minutes() float64 {
	if len(r.Visits) == 0 {
		return 0
	}
	rules := r.Rules.orDefault()
	total := float64(startS)
	for i, v := range r.Visits {
		total += r.visitS(v.Kind, rules)
		if i > 0 {
			total += r3.Norm(r3.Sub(v.Station.At, r.Visits[i-1].Station.At)) / nominalMmS
		}
	}
	return total / 60
}

// visitS returns the duration of one visit, without the move to it.
func (r Route) visitS(kind logbook.Visit, rules Rules) float64 {
	dwell := rules.DwellS + rules.HandsOffS
	if r.Pulsed {
		dwell = rhythmS(rhythmOrDefault(r.Rhythm)) + rules.HandsOffS
	}
	if kind == logbook.VisitBase {
		return dwell + baseMoveS
	}
	return dwell + moveS
}

// Names returns the different stations of the route, except the base, in the
// order of the first visits.
func (r Route) Names() []string {
	var names []string
	for _, v := range r.Visits {
		if v.Kind != logbook.VisitBase && !slices.Contains(names, v.Station.Name) {
			names = append(names, v.Station.Name)
		}
	}
	return names
}

// Stations returns the number of different stations of the route, except the
// base.
func (r Route) Stations() int { return len(r.Names()) }

// spread selects n stations that cover the area: those nearest to its middle and
// its corners, then repeatedly the one farthest from all selected. It returns all
// stations if there are no more than n.
func spread(stations []survey.Station, n int) []survey.Station {
	if len(stations) <= n || n < 1 {
		return stations
	}
	gap := make([]float64, len(stations))
	for i := range gap {
		gap[i] = math.Inf(1)
	}
	var taken []survey.Station
	take := func(i int) {
		if gap[i] > 0 && len(taken) < n {
			taken = append(taken, stations[i])
			for k, s := range stations {
				gap[k] = min(gap[k], r3.Norm(r3.Sub(s.At, stations[i].At)))
			}
		}
	}
	take(central(stations))
	for _, i := range corners(stations) {
		take(i)
	}
	for len(taken) < n {
		far := 0
		for i := range gap {
			if gap[i] > gap[far]+1e-9 {
				far = i
			}
		}
		if gap[far] == 0 {
			break
		}
		take(far)
	}
	return taken
}

// corners returns the indices of the stations nearest to the corners of the
// rectangle around all.
func corners(stations []survey.Station) [4]int {
	low, high := stations[0].At, stations[0].At
	for _, s := range stations {
		low = r3.Vec{X: min(low.X, s.At.X), Y: min(low.Y, s.At.Y)}
		high = r3.Vec{X: max(high.X, s.At.X), Y: max(high.Y, s.At.Y)}
	}
	var out [4]int
	for k, c := range [4]r2.Vec{{X: high.X, Y: low.Y}, {X: high.X, Y: high.Y}, {X: low.X, Y: low.Y}, {X: low.X, Y: high.Y}} {
		out[k] = nearest(stations, c)
	}
	return out
}

// nearest returns the index of the station nearest to p, regardless of height.
func nearest(stations []survey.Station, p r2.Vec) int {
	best, at := math.Inf(1), 0
	for i, s := range stations {
		if d := math.Hypot(s.At.X-p.X, s.At.Y-p.Y); d < best-1e-9 {
			best, at = d, i
		}
	}
	return at
}

// central returns the index of the station nearest to the middle of all.
func central(stations []survey.Station) int {
	var mid r2.Vec
	for _, s := range stations {
		mid = r2.Add(mid, r2.Vec{X: s.At.X, Y: s.At.Y})
	}
	mid = r2.Scale(1/float64(len(stations)), mid)
	return nearest(stations, mid)
}

// withRepeats inserts repeats into the order, evenly spaced over the rest of the
// walk, of the station nearest to the middle among the first tenth: about
// fraction of the stations, at least one and at most six. A walk of one station
// repeats it at once, lifted and set down again.
func withRepeats(order []survey.Station, fraction float64) []Visit {
	visits := make([]Visit, 0, len(order)+6)
	repeats := min(max(1, int(math.Round(fraction*float64(len(order))))), 6)
	if fraction <= 0 {
		repeats = 0
	}
	early := max(1, len(order)/(repeats+2))
	again := order[central(order[:early])]
	step := float64(len(order)-early) / float64(max(repeats, 1))
	done := 0
	for i, s := range order {
		visits = append(visits, Visit{s, logbook.VisitStation})
		for done < repeats && float64(i+1) >= float64(early)+step*float64(done+1)-1e-9 {
			visits = append(visits, Visit{again, logbook.VisitRepeat})
			done++
		}
	}
	return visits
}

// settings returns the stations, each captured so many times in a row.
func settings(order []survey.Station, times int) []Visit {
	var visits []Visit
	for _, s := range order {
		visits = append(visits, Visit{s, logbook.VisitStation})
		for range times - 1 {
			visits = append(visits, Visit{s, logbook.VisitRepeat})
		}
	}
	return visits
}

// withBase begins and ends the walk at the base and inserts a return to it after
// a fixed number of visits.
func withBase(visits []Visit, base *survey.Station, every int) []Visit {
	if base == nil {
		return visits
	}
	stop := Visit{*base, logbook.VisitBase}
	out := []Visit{stop}
	for i, v := range visits {
		if i > 0 && i%every == 0 {
			out = append(out, stop)
		}
		out = append(out, v)
	}
	return append(out, stop)
}
