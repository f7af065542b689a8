package room

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// gradientUnitMM is the length per which the gradient's unknowns are counted,
// so that all unknowns are of order one.
const gradientUnitMM = 100

// A column is the coefficients of one unknown in one observation.
type column struct {
	index int
	v     r3.Vec
}

// part identifies a vector unknown of a station: rough, craft or a load's number.
type part int

const (
	partRough part = -2
	partCraft part = -1
)

// layout numbers the unknowns: those shared by all (rooms, drift) and those
// of each station, three per part.
type layout struct {
	globals int
	rooms   map[int]int    // room -> first of 3 uniform + 5 gradient unknowns
	centre  map[int]r3.Vec // room -> where its gradient pivots
	runs    map[int]walk
	parts   [][]part // of each station
}

// walk locates the unknowns of a run's drift: 3 for the offset, then 3 for each step.
type walk struct {
	first int
	start float64
	stepS float64
	steps int
}

const (
	walkStepS   = 90 // a step of the random walk, at least
	maxSteps    = 10
	roomColumns = 8
)

func lay(obs []Observation, stations int) *layout {
	l := &layout{rooms: map[int]int{}, centre: map[int]r3.Vec{}, runs: map[int]walk{}, parts: make([][]part, stations)}
	count := map[int]int{}
	spans := map[int][2]float64{}
	for _, o := range obs {
		l.addParts(o)
		if o.Pulsed {
			continue
		}
		l.centre[o.Room] = r3.Add(l.centre[o.Room], o.At)
		count[o.Room]++
		s, seen := spans[o.Run]
		if !seen {
			s = [2]float64{o.TS, o.TS}
		}
		spans[o.Run] = [2]float64{min(s[0], o.TS), max(s[1], o.TS)}
	}
	for _, room := range slices.Sorted(maps.Keys(count)) {
		l.centre[room] = r3.Scale(1/float64(count[room]), l.centre[room])
		l.rooms[room] = l.globals
		l.globals += roomColumns
	}
	for _, run := range slices.Sorted(maps.Keys(spans)) {
		s := spans[run]
		w := walk{first: l.globals, start: s[0]}
		if d := s[1] - s[0]; d > 0 {
			w.steps = min(maxSteps, max(1, int(math.Ceil(d/walkStepS))))
			w.stepS = d / float64(w.steps)
		}
		l.runs[run] = w
		l.globals += 3 * (1 + w.steps)
	}
	for i := range l.parts {
		slices.Sort(l.parts[i])
	}
	return l
}

func (l *layout) addParts(o Observation) {
	add := func(p part) {
		if !slices.Contains(l.parts[o.Station], p) {
			l.parts[o.Station] = append(l.parts[o.Station], p)
		}
	}
	if !o.Pulsed {
		add(partRough)
		if o.Craft {
			add(partCraft)
		}
	}
	if o.Load != NoLoad {
		add(part(o.Load))
	}
}

// global returns the columns of room and drift in o; none for a pulsed one.
func (l *layout) global(o Observation) []column {
	if o.Pulsed {
		return nil
	}
	return append(l.roomAt(o.Room, o.At), l.driftAt(o.Run, o.TS)...)
}

// roomAt returns the columns of a room's smooth field at a place.
func (l *layout) roomAt(room int, at r3.Vec) []column {
	k := l.rooms[room]
	cols := unit(k, 1)
	for i, v := range gradientColumns(r3.Scale(1.0/gradientUnitMM, r3.Sub(at, l.centre[room]))) {
		cols = append(cols, column{k + 3 + i, v})
	}
	return cols
}

// driftAt returns the columns of a run's drift at a time on its clock.
func (l *layout) driftAt(run int, ts float64) []column {
	w := l.runs[run]
	cols := unit(w.first, 1)
	for s := range w.steps {
		if done := min(1, max(0, (ts-w.start)/w.stepS-float64(s))); done > 0 {
			cols = append(cols, unit(w.first+3*(1+s), done)...)
		}
	}
	return cols
}

// local returns the columns of the station's own unknowns in o.
func (l *layout) local(o Observation) []column {
	var cols []column
	for i, p := range l.parts[o.Station] {
		switch {
		case p == partRough && !o.Pulsed, p == partCraft && o.Craft && !o.Pulsed:
			cols = append(cols, unit(3*i, 1)...)
		case p >= 0 && int(p) == o.Load:
			cols = append(cols, unit(3*i, o.Level)...)
		}
	}
	return cols
}

// unit returns the columns of three unknowns that enter one component each, times f.
func unit(first int, f float64) []column {
	return []column{{first, r3.Vec{X: f}}, {first + 1, r3.Vec{Y: f}}, {first + 2, r3.Vec{Z: f}}}
}

// gradientColumns returns the five fields linear in d that have neither curl nor
// divergence: G d with G = [[a b c][b e f][c f -a-e]], in the order a b c e f.
func gradientColumns(d r3.Vec) [5]r3.Vec {
	return [5]r3.Vec{
		{X: d.X, Z: -d.Z},
		{X: d.Y, Y: d.X},
		{X: d.Z, Z: d.X},
		{Y: d.Y, Z: -d.Z},
		{Y: d.Z, Z: d.Y},
	}
}

// priorVariance returns the prior variances of the shared unknowns.
func (l *layout) priorVariance(h Hyper, offsets map[int]float64) []float64 {
	v := make([]float64, l.globals)
	for _, k := range l.rooms {
		for i := range roomColumns {
			v[k+i] = uniformPriorUT * uniformPriorUT
			if i >= 3 {
				v[k+i] = h.GradientUT * h.GradientUT
			}
		}
	}
	for run, w := range l.runs {
		offset := h.OffsetUT
		if o, ok := offsets[run]; ok && o > 0 {
			offset = o
		}
		for i := range 3 * (1 + w.steps) {
			v[w.first+i] = offset * offset
			if i >= 3 {
				v[w.first+i] = h.WalkUT * h.WalkUT * w.stepS / 60
			}
		}
	}
	return v
}

// uniformPriorUT is wide: the Earth's field is at most 66 uT.
const uniformPriorUT = 200
