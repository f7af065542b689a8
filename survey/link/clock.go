package link

import "math"

// clock gives samples their times: seconds on the clock of the link, never
// backwards. If the board sends its own time, intervals are those of that time
// and the host's clock corrects its drift; else arrival times are smoothed, since
// a USB adapter delivers lines in batches (commonly every 1 to 16 ms; from
// memory).
type clock struct {
	rateHz float64 // recorded stream: samples without a time of their own
	last   float64
	any    bool

	// own time
	own     float64 // last own time, seconds, unwrapped
	ownRaw  float64
	offset  float64 // link clock less own time
	hasOwn  bool
	restart bool    // set when own time went back
	same    int     // readings in a row with one own time
	sameTS  float64 // arrival of the first of them
	stopped bool    // own time stood still, and arrival times are taken from then on
	halted  bool    // set when it was found to

	// arrival times
	arrivals [64]float64
	n        int
}

const (
	wrapCount    = 1 << 32 // millis() and micros() of small boards are 32 bits wide
	secondsOfDay = 86400
	holdS        = 2    // own and host clock apart by more: anchored anew
	sameMost     = 20   // so many readings of one own time, over holdS: it stands still
	slew         = 0.01 // seconds a second the own clock is moved to follow the host's
	pull         = 0.02 // share of a late arrival believed to be real
)

// withOwn returns the time of a sample that arrived at ts and carries raw in units
// of u seconds.
func (c *clock) withOwn(raw, u, ts float64) float64 {
	if !c.hasOwn {
		return c.anchor(raw, raw*u, ts)
	}
	step := (raw - c.ownRaw) * u
	if step < 0 {
		step = unwrap(raw-c.ownRaw, u)
	}
	if step < 0 {
		c.restart, c.stopped, c.same = true, false, 0
		return c.anchor(raw, raw*u, ts)
	}
	c.own, c.ownRaw = c.own+step, raw
	if c.rateHz > 0 {
		return c.emit(c.own + c.offset)
	}
	if c.standsStill(step, ts) {
		return c.arrived(ts)
	}
	late := ts - (c.own + c.offset)
	switch {
	case math.Abs(late) > holdS:
		return c.anchor(raw, c.own, ts)
	case late < 0: // a sample cannot come before it was taken
		c.offset += late
	default:
		c.offset += min(late, step*slew)
	}
	return c.emit(c.own + c.offset)
}

// standsStill reports whether the board's time, which advanced with the reading
// that arrived at ts, is useless because it had stopped while readings kept
// coming; it is then ignored until the board restarts. A time in whole seconds
// stops for less.
func (c *clock) standsStill(step, ts float64) bool {
	switch {
	case c.stopped:
		return true
	case step > 0:
		c.same = 0
		return false
	case c.same == 0:
		c.sameTS = ts
	}
	c.same++
	if c.same >= sameMost && ts-c.sameTS > holdS {
		c.stopped, c.halted, c.n = true, true, 0
	}
	return c.stopped
}

// unwrap returns the step in seconds if a counter overflowed, else -1.
func unwrap(d, u float64) float64 {
	for _, span := range [...]float64{wrapCount * u, secondsOfDay} {
		if s := d*u + span; s >= 0 && s < 60 {
			return s
		}
	}
	return -1
}

func (c *clock) anchor(raw, own, ts float64) float64 {
	if c.rateHz > 0 {
		ts = 0
		if c.any {
			ts = c.last + 1/c.rateHz
		}
	}
	c.ownRaw, c.own, c.hasOwn = raw, own, true
	c.offset = max(ts, c.last) - own
	return c.emit(c.own + c.offset)
}

// arrived returns the time of a sample from a board without its own time.
func (c *clock) arrived(ts float64) float64 {
	if c.rateHz > 0 {
		if !c.any {
			return c.emit(0)
		}
		return c.emit(c.last + 1/c.rateHz)
	}
	c.arrivals[c.n%len(c.arrivals)] = ts
	c.n++
	period := c.period(ts)
	predicted := c.last + period
	if !c.any || ts-predicted > max(0.25, 5*period) {
		c.n = 0
		return c.emit(ts)
	}
	if predicted > ts {
		return c.emit(ts)
	}
	return c.emit(predicted + pull*(ts-predicted))
}

// period returns the mean interval of the last arrivals, 0 if there are too few.
func (c *clock) period(ts float64) float64 {
	k := min(c.n, len(c.arrivals))
	if k < 8 {
		return math.Max(0, ts-c.last)
	}
	oldest := c.arrivals[c.n%len(c.arrivals)]
	if c.n < len(c.arrivals) {
		oldest = c.arrivals[0]
	}
	return math.Max(0, (ts-oldest)/float64(k-1))
}

func (c *clock) emit(ts float64) float64 {
	c.last, c.any = max(ts, c.last), true
	return c.last
}
