package guide

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Rules are the guide's thresholds. Start from DefaultRules and change single
// fields; the zero value means the defaults.
type Rules struct {
	DwellS     float64 // shortest dwell
	MinSamples int     // samples wanted; the dwell goes on for them
	MaxDwellS  float64 // longest dwell, so that a slow sensor works
	FewSamples int     // fewer at the end of MaxDwellS are refused
	MaxGapS    float64 // a longer silence within a dwell makes it stale
	ChangeUT   float64 // a change within a dwell of at least this is refused

	HandsOffS float64 // hands-free: rest before the dwell begins
	SettleS   float64 // a capture asked for waits this long for rest
	HandAwayS float64 // by command: rest before the dwell begins, from the command on
	RemindS   float64 // hands-free: rest this long without a move leads to a remark

	BaseEvery    int     // visits between base returns
	BaseSeconds  float64 // or this much time, whichever comes first
	MisclosureUT float64 // allowed change of the base's magnitude between returns
	MisclosDeg   float64 // allowed change of the base's direction

	RepeatFraction     float64 // of the stations, captured again
	BackgroundStations int

	MinPulses     int     // complete pulses in a pulsed capture
	PulseMoveUT   float64 // allowed wander of the level with the load off
	PulseMoveDeg  float64 // allowed turn of the accelerometer
	MaxRejections int     // hands-free: after so many in a row the probe must be moved first
}

// DefaultRules returns the thresholds for an ordinary module of 10 to 100 Hz on
// a bench. They are common practice with no source, except the dwell of three
// seconds, which is this project's requirement.
func DefaultRules() Rules {
	return Rules{
		DwellS: 3, MinSamples: 60, MaxDwellS: 12, FewSamples: 10, MaxGapS: 1.5, ChangeUT: 0.8,
		HandsOffS: 3, HandAwayS: 0.5, SettleS: 8, RemindS: 20,
		BaseEvery: 10, BaseSeconds: 600, MisclosureUT: 2, MisclosDeg: 9,
		RepeatFraction: 0.1, BackgroundStations: 8,
		MinPulses: 4, PulseMoveUT: 2, PulseMoveDeg: 3,
		MaxRejections: 3,
	}
}

// orDefault returns the default for the zero value.
func (r Rules) orDefault() Rules {
	if r == (Rules{}) {
		return DefaultRules()
	}
	r.BaseEvery = max(r.BaseEvery, 1)
	return r
}

func rhythmOrDefault(r logbook.Rhythm) logbook.Rhythm {
	if r == (logbook.Rhythm{}) {
		return logbook.DefaultRhythm()
	}
	return r
}

// rhythmS returns the length of a whole pulsed dwell.
func rhythmS(r logbook.Rhythm) float64 {
	return r.OffS + float64(r.Pulses)*(r.OnS+r.OffS)
}

// Reference is the expected field at the site. Nil parts are not tested.
type Reference struct {
	FUT     float64  // magnitude, microtesla; 0: not known
	DipDeg  *float64 // positive down
	NoseDeg *float64 // magnetic direction of the nose; with DipDeg it lets the handedness of the axes be tested
}

// Config sets up a walk.
type Config struct {
	Craft     *survey.Craft
	State     string
	Together  []string // loads that go on and off with it
	CurrentA  float64  // while on, as the operator states it; 0: not stated
	Pulsed    bool
	Rhythm    logbook.Rhythm // of a pulsed walk; zero: logbook.DefaultRhythm
	HandsFree bool
	Rules     Rules  // zero: DefaultRules
	Route     *Route // nil: Plan over the craft

	// Stored are the captures of a resumed run, voided ones included. The walk
	// begins with a base reading and continues with the remaining stations.
	Stored []logbook.Capture
	Resume bool // the run is resumed; the walk reports that

	Unattended    bool // the checklist is shown but not waited for
	SkipChecklist bool // no checklist at all

	Reference  *Reference
	Axes       *magmath.Mat3      // craft vector = Axes * sensor vector; nil: not known
	Correction *survey.Correction // applied before the axes

	// Prior holds the field at stations from an earlier run of the same set-up,
	// craft frame, microtesla: the walk compares the new run with it to detect a
	// probe on a wrong mark.
	Prior map[string]r3.Vec
}

// check returns an error if the set-up cannot be walked, and fills in the
// defaults.
func (c *Config) check() error {
	if c.State == "" {
		return errors.New("no state for this run: background, unpowered or the name of a load")
	}
	c.Rules = c.Rules.orDefault()
	c.Rhythm = rhythmOrDefault(c.Rhythm)
	if c.Pulsed {
		if err := c.checkRhythm(); err != nil {
			return err
		}
	}
	if c.Route == nil {
		route, err := Plan(c.Craft, PlanOptions{State: c.State, Pulsed: c.Pulsed, Rhythm: c.Rhythm, Rules: c.Rules})
		if err != nil {
			return err
		}
		c.Route = &route
	}
	if len(c.Route.Visits) == 0 {
		return ErrNoStations
	}
	return nil
}

// checkRhythm returns an error if the rhythm cannot give two levels.
func (c *Config) checkRhythm() error {
	r := c.Rhythm
	switch {
	case r.Pulses < c.Rules.MinPulses:
		return fmt.Errorf("a pulsed capture needs at least %d pulses, the rhythm has %d", c.Rules.MinPulses, r.Pulses)
	case !(r.DropS >= 0) || !(r.OnS > 2*r.DropS) || !(r.OffS > 2*r.DropS) || !(r.OnS+r.OffS < 600):
		return fmt.Errorf("the rhythm of %g s on and %g s off leaves nothing once %g s are dropped at each edge", r.OnS, r.OffS, r.DropS)
	}
	return nil
}
