package dwell

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// RestOptions say what counts as rest.
type RestOptions struct {
	FloorUT   r3.Vec  // the probe's noise, standard deviation of one sample an axis; zero: learned from the stream
	LeastUT   float64 // the floor is taken to be at least this, and the change that counts Sigmas times it
	MostUT    float64 // and at most this: a hand that moves the probe from the start is not taken for noise
	Sigmas    float64 // the level may wander this many deviations before it counts as moved
	SettleS   float64 // quiet for this long is rest
	WindowS   float64 // the level is the median over this span, three samples at least
	TrackS    float64 // while at rest the level may drift within this time constant
	LongestS  float64 // a pause of the stream longer than this starts afresh
	LargestUT float64 // a change beyond this counts as moved whatever the floor
}

// DefaultRestOptions suit module chips from 5 to 200 samples a second. Common
// practice, no source; false alarms are measured in the tests.
func DefaultRestOptions() RestOptions {
	return RestOptions{
		LeastUT: 0.05, MostUT: 1.5, Sigmas: 6.5,
		SettleS: 0.5, WindowS: 0.4, TrackS: 10, LongestS: 2, LargestUT: 10,
	}
}

// State is what a Rest knows after a sample.
type State struct {
	AtRest   bool
	SinceTS  float64 // since when at rest, or since when moving
	Level    r3.Vec  // the field now: median over the last moment
	ChangeUT float64 // how far Level is from the level of this rest; while moving, from the last one
	Moved    bool    // the probe moved since the last Mark, or there was none
	AwayUT   float64 // how far Level is from the marked one; 0 without a mark
	FloorUT  r3.Vec  // the noise judged by
	Learned  bool    // FloorUT was given or learned; before that it is MostUT and SD is a guess
}

// Rest tells a probe at rest from one that is moved, sample by sample.
type Rest struct {
	o     RestOptions
	floor Floor

	ts     []float64 // the last WindowS
	b      []r3.Vec
	level  r3.Vec
	anchor r3.Vec  // level of this rest, slowly following; of the last one while moving
	seen   int     // samples in the anchor, capped
	candid r3.Vec  // while moving: the level that may become a rest
	quiet  float64 // since when it holds
	lastTS float64
	begun  bool
	mark   *r3.Vec
	away   float64 // since when the level is away from the mark, though at rest
	state  State
}

// A probe that is set down elsewhere without a shake shows as a lasting
// difference from the marked level, which is told from noise by less than a
// movement is: by this many deviations, with so many samples in the window.
// Common practice, no source.
const (
	awaySigmas  = 4
	awaySamples = 10
)

// restWindow is how many samples of the last moment are kept at most, for a
// clock that stands still or nearly so: the usual window at 2500 a second.
const restWindow = 1000

// NewRest starts a detector. Options that are zero or not finite take their
// defaults.
func NewRest(o RestOptions) *Rest {
	d := DefaultRestOptions()
	for _, f := range []struct {
		v *float64
		d float64
	}{
		{&o.LeastUT, d.LeastUT}, {&o.MostUT, d.MostUT}, {&o.Sigmas, d.Sigmas}, {&o.SettleS, d.SettleS},
		{&o.WindowS, d.WindowS}, {&o.TrackS, d.TrackS}, {&o.LongestS, d.LongestS}, {&o.LargestUT, d.LargestUT},
	} {
		if !(*f.v > 0) || math.IsInf(*f.v, 0) {
			*f.v = f.d
		}
	}
	if !magmath.FiniteVec(o.FloorUT) {
		o.FloorUT = r3.Vec{}
	}
	return &Rest{o: o, state: State{Moved: true}}
}

// Mark remembers the present level as captured: Moved is false from here on
// until the probe moves. A caller marks when a capture is done, and takes the
// next one only after Moved.
func (r *Rest) Mark() {
	level := r.level
	r.mark, r.away = &level, r.lastTS
	r.state.Moved = !r.state.AtRest
	r.state.AwayUT = 0
}

// State is what the last Add returned.
func (r *Rest) State() State { return r.state }

// Add takes a sample, any one frame, and tells how things stand. A sample
// that is not finite or runs backwards changes nothing.
func (r *Rest) Add(ts float64, b r3.Vec) State {
	if math.IsNaN(ts) || math.IsInf(ts, 0) || !magmath.FiniteVec(b) || r.begun && ts < r.lastTS {
		return r.state
	}
	if !r.begun || ts-r.lastTS > r.o.LongestS {
		r.restart(ts, b)
	}
	dt := ts - r.lastTS
	r.lastTS = ts
	r.floor.Add(ts, b)
	r.push(ts, b)
	r.setFloor()
	if r.state.AtRest {
		r.rest(ts, dt)
	} else {
		r.move(ts)
	}
	r.state.Level = r.level
	r.state.ChangeUT = r3.Norm(r3.Sub(r.level, r.anchor))
	if r.mark != nil {
		r.state.AwayUT = r3.Norm(r3.Sub(r.level, *r.mark))
	}
	return r.state
}

// restart forgets the recent past: the stream begins or was interrupted.
// Nobody saw what happened meanwhile, so that it counts as moving.
func (r *Rest) restart(ts float64, b r3.Vec) {
	if !r.begun {
		r.anchor = b
	}
	r.begun = true
	r.ts, r.b = r.ts[:0], r.b[:0]
	r.candid, r.quiet, r.lastTS = b, ts, ts
	r.state.AtRest, r.state.SinceTS = false, ts
}

// push keeps the last WindowS, never under three samples once there are, and
// never over restWindow.
func (r *Rest) push(ts float64, b r3.Vec) {
	r.ts, r.b = append(r.ts, ts), append(r.b, b)
	drop := max(0, len(r.ts)-restWindow)
	for len(r.ts)-drop > 3 && ts-r.ts[drop] > r.o.WindowS {
		drop++
	}
	if drop > 0 {
		r.ts = append(r.ts[:0], r.ts[drop:]...)
		r.b = append(r.b[:0], r.b[drop:]...)
	}
	r.level = magmath.MedianVec(r.b)
}

func (r *Rest) setFloor() {
	if r.o.FloorUT != (r3.Vec{}) {
		r.state.FloorUT, r.state.Learned = r.o.FloorUT, true
		return
	}
	sd, ok := r.floor.SD()
	if !ok {
		sd = r3.Vec{X: r.o.MostUT, Y: r.o.MostUT, Z: r.o.MostUT}
	}
	r.state.FloorUT, r.state.Learned = sd, ok
}

// apart tells whether two levels differ by more than noise.
func (r *Rest) apart(a, b r3.Vec) bool { return r.apartBy(a, b, r.o.Sigmas) }

func (r *Rest) apartBy(a, b r3.Vec, sigmas float64) bool {
	d, s := array(r3.Sub(a, b)), array(r.state.FloorUT)
	for k := range 3 {
		limit := max(sigmas*min(s[k], r.o.MostUT), r.o.Sigmas*r.o.LeastUT)
		if math.Abs(d[k]) > min(limit, r.o.LargestUT) {
			return true
		}
	}
	return false
}

// rest keeps or ends a rest. The anchor is a mean at first, then follows
// slowly, so that a warming probe is not taken for a moving one.
func (r *Rest) rest(ts, dt float64) {
	if r.apart(r.level, r.anchor) || r.elsewhere(ts) {
		r.state.AtRest, r.state.SinceTS, r.state.Moved = false, ts, true
		r.candid, r.quiet = r.level, ts
		return
	}
	r.seen++
	gain := max(1/float64(r.seen+1), min(1, dt/r.o.TrackS))
	r.anchor = r3.Add(r.anchor, r3.Scale(gain, r3.Sub(r.level, r.anchor)))
}

// elsewhere tells whether the level has been away from the marked one for
// SettleS.
func (r *Rest) elsewhere(ts float64) bool {
	sigmas := min(awaySigmas, r.o.Sigmas)
	if r.mark == nil || r.state.Moved || len(r.b) < awaySamples || !r.apartBy(r.level, *r.mark, sigmas) {
		r.away = ts
		return false
	}
	return ts-r.away >= r.o.SettleS
}

// move waits for the level to stay put for SettleS. The median lags by half
// its window: the probe lay still from the candidate's time on at the latest.
func (r *Rest) move(ts float64) {
	if len(r.b) < 3 || r.apart(r.level, r.candid) {
		r.candid, r.quiet = r.level, ts
		return
	}
	if ts-r.quiet < r.o.SettleS {
		return
	}
	r.anchor, r.seen = r.level, 0
	r.state.AtRest, r.state.SinceTS = true, r.quiet
}

// Floor learns the noise of a probe, the standard deviation of one sample an
// axis, from a stream in which it is moved now and then. Each window of about
// a second gives the median difference of samples a quarter of a second
// apart, beyond the reach of ordinary autocorrelation; movement makes that
// larger, so that a low quantile over the last minute is the probe's own.
// The zero Floor is ready for use.
type Floor struct {
	ts      []float64
	b       []r3.Vec
	windows [3][]float64
	sd      [3]float64 // low quantile of the windows
	seen    int        // differences behind the windows
	step    [3]float64 // smallest step seen
	ready   bool
}

// How a Floor looks at a stream. Common practice, no source.
const (
	floorWindowS   = 1.0
	floorLagS      = 0.25
	floorLag       = 3  // samples at least
	floorMinimum   = 12 // samples in a window
	floorMaximum   = 5000
	floorWindows   = 60 // windows remembered
	floorQuantile  = 0.3
	floorStepLimit = 1.0 // a larger difference is no quantisation step; whole microteslas are
)

// Add takes a sample. Samples that are not finite or run backwards are
// ignored. A window that is full before its second is over is thrown away: its
// clock stands still, or nearly so, and tells no rate.
func (f *Floor) Add(ts float64, b r3.Vec) {
	n := len(f.ts)
	if math.IsNaN(ts) || math.IsInf(ts, 0) || !magmath.FiniteVec(b) {
		return
	}
	if n > 0 {
		if ts < f.ts[n-1] {
			return
		}
		f.seeStep(f.b[n-1], b)
	}
	f.ts, f.b = append(f.ts, ts), append(f.b, b)
	if ts-f.ts[0] >= floorWindowS && len(f.ts) >= floorMinimum {
		f.close()
	} else if len(f.ts) >= floorMaximum {
		f.ts, f.b = f.ts[:0], f.b[:0]
	}
}

func (f *Floor) seeStep(from, to r3.Vec) {
	for k, d := range array(r3.Sub(to, from)) {
		d = math.Abs(d)
		if d > 1e-9 && d < floorStepLimit+1e-9 && (f.step[k] == 0 || d < f.step[k]) {
			f.step[k] = d
		}
	}
}

// close ends a window and keeps its deviation an axis.
func (f *Floor) close() {
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
		f.sd[k] = w[min(int(math.Ceil(floorQuantile*float64(len(w)))), len(w)-1)]
	}
	f.seen += n - lag
	f.ready = true
	f.ts, f.b = f.ts[:0], f.b[:0]
}

// SD is the noise learned, and whether there is any yet: that takes about a
// second, or twelve samples of a slow stream. A floor of few samples is taken
// somewhat larger, since a window that is quiet by chance would cause false
// alarms; and it is never less than half the smallest step seen.
func (f *Floor) SD() (r3.Vec, bool) {
	var out [3]float64
	if !f.ready {
		return r3.Vec{}, false
	}
	young := 1 + 12/float64(f.seen)
	for k := range 3 {
		out[k] = max(f.sd[k]*young, f.step[k]/2)
	}
	return vec(out), true
}
