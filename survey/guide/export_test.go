package guide

import "quietmount/survey/logbook"

// Take makes the guide believe that the dwell at the present station gave c,
// seconds after the last, without the tedium of samples.
func (w *Walk) Take(c logbook.Capture, seconds float64) []Event {
	w.see(w.ts + seconds)
	c.Number = w.next
	w.pending, w.verdict, w.phase = &c, verdict{b: c.BUT, noise: 0.3}, storing
	return w.Stored(c.Number)
}
