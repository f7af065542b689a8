package logbook

import (
	"sort"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
)

// FullScale returns how many readings of c are at the full scale of a probe
// whose axes reach rangeUT microtesla (0: not stated, then none): of the whole
// capture, of those with the load off or of those with the load on, whichever
// is worst. The walk, the import, the check of a folder and the evaluation
// reject a capture by [dwell.Clipping.Unusable].
func (c *Capture) FullScale(rangeUT float64) dwell.Clipping {
	levels := c.loadLevels()
	f := dwell.FullScale{RangeUT: rangeUT}
	for i, s := range c.Samples {
		f.Add(s.B, levels[i])
	}
	return f.Worst()
}

// AtFullScale reports whether c is unusable because too many of its readings
// stand at full scale, and returns the remark with the number of the capture
// and its station.
func (c *Capture) AtFullScale(rangeUT float64) (remark.Remark, bool) {
	at := c.FullScale(rangeUT)
	if !at.Unusable() {
		return remark.Remark{}, false
	}
	load := map[dwell.Level]string{dwell.Off: "off", dwell.On: "on"}[at.Level]
	return remark.New("logbook.at-full-scale", remark.Values{
		"samples": at.AtLimit, "of": at.Readings, "load_is": load, "range_ut": rangeUT,
	}).At(remark.Place{Capture: c.Number, Station: c.Station}), true
}

// loadLevels are the load's levels at the samples: as the samples say, or as
// prompted where none of them says anything. The operator's lag does not
// matter to a share.
func (c *Capture) loadLevels() []dwell.Level {
	levels := survey.LoadLevels(c.Samples)
	for _, l := range levels {
		if l != dwell.Unknown {
			return levels
		}
	}
	if len(c.Prompts) == 0 {
		return levels
	}
	for i, s := range c.Samples {
		levels[i] = dwell.Off
		if k := sort.Search(len(c.Prompts), func(k int) bool { return c.Prompts[k].TS > s.TS }); k > 0 && c.Prompts[k-1].On {
			levels[i] = dwell.On
		}
	}
	return levels
}
