package guide

// No probe sends faster than this, save what was held up and comes at once:
// readings beyond it are stamped by a clock that stands still. Common practice,
// no source.
const (
	fastestHz = 5000
	burst     = 1000
)

// clockWatch counts readings against their own clock, a second at a time. A
// clock that stands still would never end a dwell, nor ever begin one.
type clockWatch struct {
	from float64 // time of the reading at which it began to count
	n    int     // readings since
}

// standsStill takes the time of a reading and says how many came within which
// time, if no probe sends so many; then it counts anew.
func (c *clockWatch) standsStill(ts float64) (n int, seconds float64, yes bool) {
	c.n++
	n, seconds = c.n, ts-c.from
	yes = float64(n) > burst+fastestHz*seconds
	if yes || seconds >= 1 {
		*c = clockWatch{from: ts}
	}
	return n, seconds, yes
}

// whileStanding gives up what waits for time to go by.
func (w *Walk) whileStanding(n int, seconds float64) []Event {
	why := msgStandsStill(n, seconds)
	switch w.phase {
	case settling, dwelling:
		return w.abandon(CodeStale, why)
	case moving:
		return []Event{warn(CodeStale, why)}
	}
	return nil
}
