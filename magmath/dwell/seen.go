package dwell

import (
	"fmt"
	"math"
	"slices"
)

// seenRhythm takes the rhythm from stations whose steps stand out by
// themselves. The first level is taken for off.
func seenRhythm(captures []PulsedSeries, o PulseOptions) (Lag, error) {
	var start, on, off []float64
	clears := 0
	for _, c := range captures {
		at := plainSteps(c)
		if len(at) < 2*o.MinPulses-1 {
			continue
		}
		clears++
		start = append(start, at[0]-c.TS[0])
		for i := 1; i < len(at); i++ {
			if i%2 == 1 {
				on = append(on, at[i]-at[i-1])
			} else {
				off = append(off, at[i]-at[i-1])
			}
		}
	}
	if clears == 0 {
		return Lag{}, ErrNoTiming
	}
	out := Lag{Source: FromSeen, Captures: clears, Edges: len(on) + len(off) + clears,
		StartS: median(start), OnS: median(on), OffS: median(off)}
	out.SDS = max(madSD(start, out.StartS), madSD(on, out.OnS), madSD(off, out.OffS), 0.05)
	if out.SDS > min(out.OnS, out.OffS)/4 {
		return Lag{}, ErrNoTiming
	}
	out.Warnings = []string{fmt.Sprintf("rhythm taken from the stations with clear steps: %.1f s off first, then %.1f s on, %.1f s off", out.StartS, out.OnS, out.OffS)}
	return out, nil
}

// plainSteps are the times at which a capture with two plain levels changes
// between them; nothing if the levels do not stand apart.
func plainSteps(c PulsedSeries) []float64 {
	cols := columns(c.B)
	var p []float64
	var most, low, high float64
	for k := range 3 { // the axis that shows it best
		d := make([]float64, 0, len(cols[k]))
		for i := 1; i < len(cols[k]); i++ {
			d = append(d, cols[k][i]-cols[k][i-1])
		}
		s := sorted(cols[k])
		noise := max(madSD(d, 0)/math.Sqrt2, s.smallestGap()/2, 1e-9)
		if r := (s.quantile(0.85) - s.quantile(0.15)) / noise; r > most {
			most, p = r, cols[k]
			low, high = s.quantile(0.15), s.quantile(0.85)
		}
	}
	if most < 8 {
		return nil
	}
	var at []float64
	up := p[0] > (low+high)/2
	for i, v := range p {
		f := (v - low) / (high - low)
		// Two samples in a row, so that a spike is no step.
		if next := min(i+1, len(p)-1); i > 0 && (f > 0.65) != up && (f > 0.65 || f < 0.35) && ((p[next]-low)/(high-low) > 0.5) != up {
			at = append(at, (c.TS[i-1]+c.TS[i])/2)
			up = !up
		}
	}
	return slices.Clip(at)
}
