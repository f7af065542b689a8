package dwell

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// What counts as rest, for module chips from 5 to 200 samples a second. Common
// practice, no source; false alarms are measured in the tests.
const (
	leastNoiseUT  = 0.05 // the probe's noise is taken to be at least this
	mostNoiseUT   = 1.5  // and at most this: a hand that moves the probe from the start is not noise
	movedSigmas   = 6.5  // a change of the level by this many deviations is a movement
	movedUT       = 10   // and so is this change, whatever the noise
	settleS       = 0.5  // quiet for this long is rest
	restWindowS   = 0.4  // the level is the median over this span
	fewestSamples = 3    // and over this many samples at least
	mostSamples   = 1000 // and at most, for a clock that stands still or nearly so: 2500 a second
	trackS        = 10   // at rest the level may drift within this time constant
	longestGapS   = 2    // after a longer gap of the stream the detector starts afresh
)

// A probe that is set down at another place without a shake shows as a lasting
// difference from the marked level. Because it lasts, fewer deviations tell it
// from noise, with so many samples in the window. Common practice, no source.
const (
	awaySigmas  = 4
	awaySamples = 10
)

// State is what a Rest knows after a sample.
type State struct {
	AtRest   bool
	SinceTS  float64 // since when at rest, or since when moving
	Level    r3.Vec  // the field now: median over the last moment
	ChangeUT float64 // distance of Level from the level of this rest; while moving, of the last one
	Moved    bool    // the probe moved since the last Mark, or there was none
	AwayUT   float64 // distance of Level from the marked one; 0 without a mark
	FloorUT  r3.Vec  // the probe's noise, standard deviation of one sample on each axis
	Learned  bool    // FloorUT comes from the stream; before that it is a guess, 1.5 uT
}

// Rest tells a probe at rest from one that is moved, sample by sample. It keeps
// a few thousand samples at most.
type Rest struct {
	floor floor

	ts        []float64 // the last restWindowS
	b         []r3.Vec
	order     [3]ascending // the components of b
	level     r3.Vec       // median of b
	anchor    r3.Vec       // level of this rest, slowly following; while moving, of the last one
	seen      int          // samples in the anchor
	candidate r3.Vec       // while moving: the level that may become a rest
	quiet     float64      // since when the level stays at the candidate
	lastTS    float64
	begun     bool
	mark      *r3.Vec
	away      float64 // since when the level is away from the mark, though at rest
	state     State
}

// NewRest returns a detector that has seen no sample: the probe moves.
func NewRest() *Rest { return &Rest{state: State{Moved: true}} }

// Mark remembers the present level as captured: Moved is false from here on
// until the probe moves. A caller marks when a capture is done, and takes the
// next one only after Moved.
func (r *Rest) Mark() {
	level := r.level
	r.mark, r.away = &level, r.lastTS
	r.state.Moved = !r.state.AtRest
	r.state.AwayUT = 0
}

// State returns what the last Add returned.
func (r *Rest) State() State { return r.state }

// Add takes a sample, in seconds and microtesla, always of the same frame, and
// returns the state after it. A sample that is not finite or runs backwards
// changes nothing.
func (r *Rest) Add(ts float64, b r3.Vec) State {
	if math.IsNaN(ts) || math.IsInf(ts, 0) || !magmath.FiniteVec(b) || r.begun && ts < r.lastTS {
		return r.state
	}
	if !r.begun || ts-r.lastTS > longestGapS {
		r.restart(ts, b)
	}
	dt := ts - r.lastTS
	r.lastTS = ts
	r.push(ts, b)
	r.floor.add(ts, b)
	r.state.FloorUT, r.state.Learned = r.floor.sd()
	if r.state.AtRest {
		r.whileAtRest(ts, dt)
	} else {
		r.whileMoving(ts)
	}
	r.state.Level = r.level
	r.state.ChangeUT = r3.Norm(r3.Sub(r.level, r.anchor))
	if r.mark != nil {
		r.state.AwayUT = r3.Norm(r3.Sub(r.level, *r.mark))
	}
	return r.state
}

// restart forgets the recent past, as the stream begins or after a gap. Nobody
// saw what happened meanwhile, so that it counts as moving.
func (r *Rest) restart(ts float64, b r3.Vec) {
	if !r.begun {
		r.anchor = b
	}
	r.begun = true
	r.ts, r.b, r.order = r.ts[:0], r.b[:0], [3]ascending{}
	r.candidate, r.quiet, r.lastTS = b, ts, ts
	r.state.AtRest, r.state.SinceTS = false, ts
}

// push adds a sample to the window, drops those that are too old or too many,
// and sets the level.
func (r *Rest) push(ts float64, b r3.Vec) {
	r.ts, r.b = append(r.ts, ts), append(r.b, b)
	drop := max(0, len(r.ts)-mostSamples)
	for len(r.ts)-drop > fewestSamples && ts-r.ts[drop] > restWindowS {
		drop++
	}
	var level [3]float64
	for k, v := range array(b) {
		s := r.order[k]
		for _, old := range r.b[:drop] {
			i, _ := slices.BinarySearch(s, array(old)[k])
			s = slices.Delete(s, i, i+1)
		}
		i, _ := slices.BinarySearch(s, v)
		r.order[k] = slices.Insert(s, i, v)
		level[k] = r.order[k].median()
	}
	r.ts, r.b = slices.Delete(r.ts, 0, drop), slices.Delete(r.b, 0, drop)
	r.level = vec(level)
}

// apart reports whether two levels differ on any axis by more than so many
// deviations of the noise.
func (r *Rest) apart(a, b r3.Vec, sigmas float64) bool {
	d, s := array(r3.Sub(a, b)), array(r.state.FloorUT)
	for k := range 3 {
		limit := max(sigmas*min(s[k], mostNoiseUT), movedSigmas*leastNoiseUT)
		if math.Abs(d[k]) > min(limit, movedUT) {
			return true
		}
	}
	return false
}

// whileAtRest ends the rest if the probe moved. Else the anchor follows: a mean
// at first, then slowly, so that a warming probe does not count as moving.
func (r *Rest) whileAtRest(ts, dt float64) {
	if r.apart(r.level, r.anchor, movedSigmas) || r.elsewhere(ts) {
		r.state.AtRest, r.state.SinceTS, r.state.Moved = false, ts, true
		r.candidate, r.quiet = r.level, ts
		return
	}
	r.seen++
	gain := max(1/float64(r.seen+1), min(1, dt/trackS))
	r.anchor = r3.Add(r.anchor, r3.Scale(gain, r3.Sub(r.level, r.anchor)))
}

// elsewhere reports whether the level has been away from the marked one for
// settleS.
func (r *Rest) elsewhere(ts float64) bool {
	if r.mark == nil || r.state.Moved || len(r.b) < awaySamples || !r.apart(r.level, *r.mark, awaySigmas) {
		r.away = ts
		return false
	}
	return ts-r.away >= settleS
}

// whileMoving begins a rest when the level stays put for settleS. The median
// lags by half its window: the probe lay still from the candidate's time on at
// the latest.
func (r *Rest) whileMoving(ts float64) {
	if len(r.b) < fewestSamples || r.apart(r.level, r.candidate, movedSigmas) {
		r.candidate, r.quiet = r.level, ts
		return
	}
	if ts-r.quiet < settleS {
		return
	}
	r.anchor, r.seen = r.level, 0
	r.state.AtRest, r.state.SinceTS = true, r.quiet
}

// floor learns the noise of a probe, the standard deviation of one sample on
// each axis, from a stream in which it is moved now and then. Each window of
// about a second gives the median difference of samples a quarter of a second
// apart, beyond the reach of ordinary autocorrelation. Movement makes that
// larger, so that a low quantile over the last minute is the probe's own noise.
type floor struct {
	ts      []float64
	b       []r3.Vec
	windows [3][]float64 // deviation in each window
	low     [3]float64   // low quantile of the windows
	seen    int          // differences behind the windows
	step    [3]float64   // smallest step of the readings
}

// How a floor looks at a stream. Common practice, no source.
const (
	floorWindowS   = 1.0
	floorLagS      = 0.25
	floorLag       = 3  // samples at least
	floorMinimum   = 12 // samples in a window
	floorMaximum   = 5000
	floorWindows   = 60 // windows remembered
	floorQuantile  = 0.3
	floorStepLimit = 1.0 // a larger difference is not a quantisation step; whole microteslas are
)

// add takes a sample, finite and not before the last one. It throws away a
// window that is full before its second is over: its clock stands still, or
// nearly so, and tells no rate.
func (f *floor) add(ts float64, b r3.Vec) {
	if n := len(f.b); n > 0 {
		for k, d := range array(r3.Sub(b, f.b[n-1])) {
			d = math.Abs(d)
			if d > 1e-9 && d < floorStepLimit+1e-9 && (f.step[k] == 0 || d < f.step[k]) {
				f.step[k] = d
			}
		}
	}
	f.ts, f.b = append(f.ts, ts), append(f.b, b)
	if ts-f.ts[0] >= floorWindowS && len(f.ts) >= floorMinimum {
		f.close()
	} else if len(f.ts) >= floorMaximum {
		f.ts, f.b = f.ts[:0], f.b[:0]
	}
}

// close ends a window and keeps its deviation on each axis.
func (f *floor) close() {
	n := len(f.ts)
	rate := float64(n-1) / (f.ts[n-1] - f.ts[0])
	lag := min(max(int(math.Round(floorLagS*rate)), floorLag), n/2)
	cols := columns(f.b)
	d := make([]float64, 0, n)
	for k := range 3 {
		d = d[:0]
		for i := lag; i < n; i++ {
			d = append(d, math.Abs(cols[k][i]-cols[k][i-lag]))
		}
		f.windows[k] = append(f.windows[k], madFactor/math.Sqrt2*magmath.Median(d))
		if len(f.windows[k]) > floorWindows {
			f.windows[k] = slices.Delete(f.windows[k], 0, 1)
		}
		w := sorted(f.windows[k])
		f.low[k] = w[min(int(math.Ceil(floorQuantile*float64(len(w)))), len(w)-1)]
	}
	f.seen += n - lag
	f.ts, f.b = f.ts[:0], f.b[:0]
}

// sd returns the noise learned and reports whether there is any yet, which takes
// about a second, or twelve samples of a slow stream; before that it is
// mostNoiseUT. A floor of few samples is taken somewhat larger, since a window
// that is quiet by chance would cause false alarms, and never under half the
// smallest step.
func (f *floor) sd() (r3.Vec, bool) {
	if f.seen == 0 {
		return r3.Vec{X: mostNoiseUT, Y: mostNoiseUT, Z: mostNoiseUT}, false
	}
	young := 1 + 12/float64(f.seen)
	var out [3]float64
	for k := range 3 {
		out[k] = max(f.low[k]*young, f.step[k]/2)
	}
	return vec(out), true
}
