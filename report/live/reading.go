package live

import (
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// Reading is the newest reading, topic "reading": as the sensor sent it, without
// calibration or axes.
type Reading struct {
	AtMS        int64      `json:"at_ms"` // of the clock, when it came
	BUT         [3]float64 `json:"b_ut"`
	MagnitudeUT float64    `json:"magnitude_ut"`
	RateHz      float64    `json:"rate_hz"`
}

// rate counts readings over the last second or so.
type rate struct {
	since time.Time
	n     int
	hz    float64
}

func (r *rate) count(now time.Time) float64 {
	r.n++
	switch dt := now.Sub(r.since); {
	case r.since.IsZero() || dt > 10*time.Second:
		r.since, r.n = now, 0
	case dt >= time.Second:
		r.hz = float64(r.n) / dt.Seconds()
		r.since, r.n = now, 0
	}
	return r.hz
}

// newReading is a sample as the pages are shown it.
func newReading(s survey.Sample, now time.Time, hz float64) Reading {
	return Reading{
		AtMS: now.UnixMilli(), BUT: [3]float64{s.B.X, s.B.Y, s.B.Z}, MagnitudeUT: r3.Norm(s.B), RateHz: hz,
	}
}
