package dwell

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

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
