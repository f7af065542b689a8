package link

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
)

// HealthOptions are the expected values that the samples are judged by.
type HealthOptions struct {
	ReferenceUT float64 // strength of the geomagnetic field at the place; 0: not known
	RangeUT     float64 // full scale of an axis; 0: not stated
	ScaleUT     float64 // microtesla per printed unit, of the decoder's Guess; 0: not known
}

// Health is the state of the probe, held still or turned, judged from a stretch
// of samples. Numbers that the samples do not determine are NaN.
type Health struct {
	Samples          int
	SpanS            float64
	RateHz           float64 // lines a second
	TrueRateHz       float64 // changed vectors a second: what counts as independent
	RepeatedFraction float64 // of the samples that repeat the vector before
	Gaps             int     // pauses of over four usual intervals and 0.2 s
	LongestGapS      float64
	MedianUT         float64         // of |B|
	Ratio            float64         // MedianUT to the reference
	Reasons          []remark.Remark // of the ratio, the likeliest first
	NoiseUT          r3.Vec          // standard deviation of each axis from one sample to the next
	Stuck            [3]bool
	Saturated        [3]bool
	AllZero          bool
	BadFraction      float64 // of the lines
	Remarks          []HealthRemark
}

// HealthRemark is a remark about the stream, of the topic health.
type HealthRemark struct {
	remark.Remark
	Grave bool // must be cured before measuring
}

// Assess judges samples in the order of time. With fewer than two samples there
// is no rate, and the only remark reports that.
func Assess(samples []survey.Sample, c Counters, o HealthOptions) Health {
	nan := math.NaN()
	h := Health{Samples: len(samples), RateHz: nan, TrueRateHz: nan, MedianUT: nan, Ratio: nan, NoiseUT: r3.Vec{X: nan, Y: nan, Z: nan}}
	if c.Lines > 0 {
		h.BadFraction = float64(c.Bad) / float64(c.Lines)
	}
	if h.BadFraction > 0.02 {
		h.look(remark.New("health.bad-lines", remark.Values{"bad_percent": 100 * h.BadFraction}))
	}
	if len(samples) < 2 {
		h.stop(remark.New("health.rate", remark.Values{"samples": len(samples), "rate_hz": nan}))
		return h
	}
	changed := h.timing(samples)
	h.field(samples, o)
	h.noise(changed)
	h.stuck(samples)
	h.saturated(samples, o)
	return h
}

// look adds a remark; with stop, one that prevents measuring.
func (h *Health) look(r remark.Remark) { h.Remarks = append(h.Remarks, HealthRemark{r, false}) }
func (h *Health) stop(r remark.Remark) { h.Remarks = append(h.Remarks, HealthRemark{r, true}) }

// timing finds rate, gaps and repeats and returns the samples that changed.
func (h *Health) timing(samples []survey.Sample) []survey.Sample {
	changed := samples[:1:1]
	steps := make([]float64, 0, len(samples))
	for i := 1; i < len(samples); i++ {
		steps = append(steps, samples[i].TS-samples[i-1].TS)
		if samples[i].B != samples[i-1].B {
			changed = append(changed, samples[i])
		}
	}
	h.SpanS = samples[len(samples)-1].TS - samples[0].TS
	usual := magmath.Median(slices.Clone(steps))
	for _, s := range steps {
		if s > max(4*usual, 0.2) {
			h.Gaps++
			h.LongestGapS = max(h.LongestGapS, s)
		}
	}
	h.RepeatedFraction = float64(len(samples)-len(changed)) / float64(len(samples)-1)
	if h.SpanS > 0 {
		h.RateHz = float64(len(samples)-1) / h.SpanS
		h.TrueRateHz = float64(len(changed)-1) / h.SpanS
	}
	h.judgeTiming()
	return changed
}

func (h *Health) judgeTiming() {
	if h.Gaps > 0 {
		h.look(remark.New("health.gaps", remark.Values{"gaps": h.Gaps, "longest_s": h.LongestGapS}))
	}
	if h.RepeatedFraction > 0.2 && h.RepeatedFraction < 1 {
		h.look(remark.New("health.repeated", remark.Values{"fraction": h.RepeatedFraction, "true_rate_hz": h.TrueRateHz, "rate_hz": h.RateHz}))
	}
	if h.TrueRateHz > 0 && h.TrueRateHz < 5 {
		h.look(remark.New("health.rate", remark.Values{"samples": h.Samples, "rate_hz": h.TrueRateHz}))
	}
}

// field compares the magnitude with the reference.
func (h *Health) field(samples []survey.Sample, o HealthOptions) {
	mags := make([]float64, len(samples))
	for i, s := range samples {
		mags[i] = r3.Norm(s.B)
	}
	h.MedianUT = magmath.Median(mags)
	if h.AllZero = mags[len(mags)-1] == 0; h.AllZero {
		h.stop(remark.New("health.zero"))
		return
	}
	if o.ReferenceUT <= 0 || h.MedianUT == 0 {
		return
	}
	h.Ratio = h.MedianUT / o.ReferenceUT
	h.Reasons = ReasonsFor(h.Ratio)
	likely := h.Reasons[:min(1, len(h.Reasons))]
	scale := remark.New("health.scale", remark.Values{"median_ut": h.MedianUT, "ratio": h.Ratio, "reference_ut": o.ReferenceUT, "likely": likely})
	if len(likely) > 0 {
		h.stop(scale)
	} else if math.Abs(math.Log(h.Ratio)) > 0.15 {
		h.look(scale)
	}
}

// noise returns the robust standard deviation of steps between changed vectors,
// over the square root of two, so that slow turning has no effect.
func (h *Health) noise(changed []survey.Sample) {
	const fewest = 8
	if len(changed) < fewest {
		return
	}
	sd := func(axis func(r3.Vec) float64) float64 {
		d := make([]float64, len(changed)-1)
		for i := range d {
			d[i] = axis(changed[i+1].B) - axis(changed[i].B)
		}
		return spread(d) / math.Sqrt2
	}
	h.NoiseUT = r3.Vec{
		X: sd(func(v r3.Vec) float64 { return v.X }),
		Y: sd(func(v r3.Vec) float64 { return v.Y }),
		Z: sd(func(v r3.Vec) float64 { return v.Z }),
	}
	if worst := max(h.NoiseUT.X, h.NoiseUT.Y, h.NoiseUT.Z); worst > 2 {
		h.look(remark.New("health.noise", remark.Values{"scatter_ut": worst}))
	}
}

// spread returns the scaled median absolute deviation; the mean absolute deviation
// if more than half of the values are equal (coarse steps).
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.6
// (MAD); the factor 1.4826 is 1/Phi^-1(3/4), and 1.2533 is sqrt(pi/2), for the
// normal distribution.
func spread(v []float64) float64 {
	m := magmath.Median(slices.Clone(v))
	dev, sum := make([]float64, len(v)), 0.0
	for i, x := range v {
		dev[i] = math.Abs(x - m)
		sum += dev[i]
	}
	if s := 1.4826 * magmath.Median(dev); s > 0 {
		return s
	}
	return math.Sqrt(math.Pi/2) * sum / float64(len(v))
}

// stuck finds axes that never change while time passes.
func (h *Health) stuck(samples []survey.Sample) {
	const fewest, shortestS = 20, 2.0
	if len(samples) < fewest || h.SpanS < shortestS || h.AllZero {
		return
	}
	n := 0
	for k := range 3 {
		first := axis(samples[0].B, k)
		h.Stuck[k] = !slices.ContainsFunc(samples, func(s survey.Sample) bool { return axis(s.B, k) != first })
		if h.Stuck[k] {
			n++
		}
	}
	if n > 0 {
		h.stop(remark.New("health.stuck", remark.Values{"axes": axesNamed(h.Stuck), "all": n == 3, "for_s": h.SpanS}))
	}
}

// saturated finds axes at the end of their range, by the rule that also
// refuses a capture: by the stated range, and by the codes that chips give on
// overflow, which need the scale.
func (h *Health) saturated(samples []survey.Sample, o HealthOptions) {
	full := dwell.FullScale{RangeUT: o.RangeUT}
	for _, s := range samples {
		full.Add(s.B, dwell.Unknown)
	}
	at := full.Worst()
	for k := range 3 {
		h.Saturated[k] = at.Unusable() && (k == at.Worst() || dwell.Clipping{Readings: at.Readings, AtLimit: at.Axes[k]}.Unusable())
		if o.ScaleUT > 0 && !h.Saturated[k] {
			h.Saturated[k] = dwell.Clipping{Readings: len(samples), AtLimit: overflows(samples, k, o.ScaleUT)}.Unusable()
		}
	}
	if h.Saturated != [3]bool{} {
		h.stop(remark.New("health.saturated", remark.Values{"axes": axesNamed(h.Saturated)}))
	}
}

// overflows counts the samples in which axis k holds a value that chips give
// instead of a reading. Those of 12-bit chips count only where nothing on the
// axis exceeds 12 bits, since a finer chip may well read them.
// Sources: HMC5883L data sheet, p. 15 (-4096) and the ends of its 12 bits;
// the ends of 16-bit registers.
func overflows(samples []survey.Sample, k int, scaleUT float64) int {
	n12, n16, twelve := 0, 0, true
	for _, s := range samples {
		raw := axis(s.B, k) / scaleUT
		n := math.Round(raw)
		if math.Abs(raw-n) > 1e-6*max(1, math.Abs(raw)) {
			return 0 // no counts
		}
		switch {
		case n == -4096 || n == -2048 || n == 2047:
			n12++
		case n == -32768 || n == 32767:
			n16++
			twelve = false
		case n < -2048 || n > 2047:
			twelve = false
		}
	}
	if twelve {
		return n12
	}
	return n16
}

func axis(v r3.Vec, k int) float64 { return [3]float64{v.X, v.Y, v.Z}[k] }

func axesNamed(which [3]bool) []string {
	var s []string
	for k, name := range []string{"x", "y", "z"} {
		if which[k] {
			s = append(s, name)
		}
	}
	return s
}
