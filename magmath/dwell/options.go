package dwell

import "math"

// Options are what is known of the probe beforehand, and policy.
type Options struct {
	FloorUT      float64 // the probe's own noise, standard deviation of one sample an axis; 0: unknown
	ResolutionUT float64 // quantisation step; 0: unknown, taken from the smallest step seen

	FallbackResolutionUT float64 // step assumed of values all alike with no step known
	FallbackNoiseUT      float64 // noise assumed of a single sample with no floor known
	MaxResolutionUT      float64 // a larger gap between values is not taken for a quantisation step
	SpikeSigmas          float64 // a sample this many robust deviations off is a spike
	DriftP               float64 // drift is remarked under this probability
}

// DefaultOptions assume nothing of the probe. The fallback step is the
// coarsest of the common module chips (0.3 uT; from memory); the other
// figures are common practice, no source.
func DefaultOptions() Options {
	return Options{
		FallbackResolutionUT: 0.3,
		FallbackNoiseUT:      1,
		MaxResolutionUT:      1,
		SpikeSigmas:          4.5,
		DriftP:               0.001,
	}
}

// withDefaults fills in what is zero or nonsense.
func (o Options) withDefaults() Options {
	d := DefaultOptions()
	positive := func(v *float64, otherwise float64) {
		if !(*v > 0) || math.IsInf(*v, 0) {
			*v = otherwise
		}
	}
	positive(&o.FloorUT, 0)
	positive(&o.ResolutionUT, 0)
	positive(&o.FallbackResolutionUT, d.FallbackResolutionUT)
	positive(&o.FallbackNoiseUT, d.FallbackNoiseUT)
	positive(&o.MaxResolutionUT, d.MaxResolutionUT)
	positive(&o.SpikeSigmas, d.SpikeSigmas)
	positive(&o.DriftP, d.DriftP)
	return o
}
