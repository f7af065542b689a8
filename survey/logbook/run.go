package logbook

import (
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
)

// SimulatedPort stands in the header where no module was connected: a
// simulation made the samples.
const SimulatedPort = "simulated module"

// Header is the first line of a run file, as JSON.
type Header struct {
	Run         int                `json:"run"`             // number in the file name
	Craft       string             `json:"craft,omitempty"` // the craft's name
	CraftSHA256 string             `json:"craft_sha256,omitempty"`
	State       string             `json:"state"`               // background, unpowered or a load's name
	CurrentA    *float64           `json:"current_a,omitempty"` // while on, stated or measured; nil: not known
	Pulsed      bool               `json:"pulsed"`
	Substitute  bool               `json:"substitute"` // a supply or a resistor took the motor's place
	Probe       string             `json:"probe,omitempty"`
	Axes        *magmath.Mat3      `json:"axes,omitempty"`        // craft vector = Axes * sensor vector; nil: no mapping known
	Calibration string             `json:"calibration,omitempty"` // ID of a stored calibration, empty: none
	Correction  *survey.Correction `json:"correction,omitempty"`  // what that calibration does, copied so that a run stands alone
	Port        string             `json:"port,omitempty"`
	Decoder     string             `json:"decoder,omitempty"`
	Tool        string             `json:"tool,omitempty"`      // version
	Started     time.Time          `json:"started"`             // with zone
	Session     string             `json:"session,omitempty"`   // default the day
	NoseDeg     *float64           `json:"nose_deg,omitempty"`  // magnetic direction of the nose
	Fitted      []string           `json:"fitted,omitempty"`    // confirmed as fitted
	Confirmed   []string           `json:"confirmed,omitempty"` // cautions confirmed
	Imported    bool               `json:"imported,omitempty"`
	Rhythm      *Rhythm            `json:"rhythm,omitempty"`         // of a pulsed run
	Stations    []string           `json:"stations,omitempty"`       // of the walk, where it was not planned over all of the state
	Proof       bool               `json:"proof,omitempty"`          // the module stood at the chosen spot: kept out of the map that it is to prove
	Extra       Stations           `json:"extra_stations,omitempty"` // walked besides or instead of the craft file's own

	// Together are the loads that go on and off with State in a proof, and their
	// currents, amperes; 0 of a moving one.
	Together map[string]float64 `json:"together_a,omitempty"`
}

// Frame returns the frame that takes the run's raw readings to the craft frame; without
// axes they stay in sensor axes.
func (h *Header) Frame() survey.Frame { return survey.NewFrame(h.Axes, h.Correction) }

// Amperes returns the current of the load while on; 0 if it is not known.
func (h *Header) Amperes() float64 {
	if h.CurrentA == nil {
		return 0
	}
	return *h.CurrentA
}

// Stations are places that the craft file does not name.
type Stations []survey.Station

// Rhythm is the rhythm of a pulsed capture: Pulses times OnS on and OffS off.
// It begins with OffS off.
type Rhythm struct {
	Pulses int     `json:"pulses"`
	OnS    float64 `json:"on_s"`
	OffS   float64 `json:"off_s"`
	DropS  float64 `json:"drop_s"` // dropped after each edge
}

// DefaultRhythm is six times three seconds on and three off, the half second
// after each edge dropped.
func DefaultRhythm() Rhythm { return Rhythm{Pulses: 6, OnS: 3, OffS: 3, DropS: 0.5} }

// ProofSettings is how often the module is set down at a spot to prove it with a load.
const ProofSettings = 3

// Prompt is a moment at which the operator was told to switch.
type Prompt struct {
	TS float64 `json:"t_s"` // on the clock of the samples
	On bool    `json:"on"`
}

// Capture is one dwell at one station: its samples, and the field as it was
// shown to the operator when the capture was stored.
type Capture struct {
	Number  int // 1, 2, ... within the run
	Station string
	At      r3.Vec // surface under the foot, craft frame, mm
	Visit   Visit  // why the guide asked for it
	Time    time.Time
	Samples []survey.Sample
	Prompts []Prompt // of a pulsed capture whose switching was prompted

	// The mean field shown at acknowledgement, calibrated, craft frame,
	// microtesla. For people only: the evaluation starts again from the samples.
	BUT           r3.Vec
	UncertaintyUT float64

	Void string // why a later line voided it; empty: counts
}

// Visit is the reason why the guide asked for a capture.
type Visit string

// The reasons for a visit.
const (
	VisitStation Visit = "station"
	VisitBase    Visit = "base"
	VisitRepeat  Visit = "repeat"
	VisitRedo    Visit = "redo"
)

// NoteKind sorts the notes of a run.
type NoteKind string

// The kinds of note.
const (
	NoteText     NoteKind = "note"     // the operator's own words
	NoteRejected NoteKind = "rejected" // a dwell that was refused, and why
	NoteSkipped  NoteKind = "skipped"  // a station left out
	NoteLink     NoteKind = "link"     // the port was lost or came back
	NoteWarning  NoteKind = "warning"  // what the guide remarked
	NoteResumed  NoteKind = "resumed"
	NoteEnd      NoteKind = "end"     // the run was finished or stopped
	NoteVerdict  NoteKind = "verdict" // what the proof that the run is part of came to
)

// Note is a line of a run that is not a capture.
type Note struct {
	Kind    NoteKind
	Station string
	Text    string
	Time    time.Time
	Verdict *Verdict // of the kind NoteVerdict
}

// Verdict is what a proof came to. Its runs keep it: a proof that failed stays on
// record, and from then on its captures count as readings at the spot.
type Verdict struct {
	Failed   bool        `json:"failed"`
	Code     string      `json:"code"` // of the reason
	PValue   *float64    `json:"p_value,omitempty"`
	Promised *[2]float64 `json:"promised_deg,omitempty"` // estimate and 95 % bound of the shifting heading error
	Measured *[2]float64 `json:"measured_deg,omitempty"`
	AtMM     [3]float64  `json:"at_mm"` // of the surface, craft frame
	HeightMM float64     `json:"height_mm"`
	Runs     []int       `json:"runs"` // all of the proof
}

// Failed returns the verdict of the failed proof that a run was part of; nil if it was
// part of none.
func (r *Run) Failed() *Note {
	for i := range r.Notes {
		if n := &r.Notes[i]; n.Kind == NoteVerdict && n.Verdict != nil && n.Verdict.Failed {
			return n
		}
	}
	return nil
}

// Run is a run file read back. Voided captures stay in Captures with Void
// set.
type Run struct {
	File     string
	Header   Header
	Captures []Capture
	Notes    []Note
	Warnings []remark.Remark // what reading found and could go on from, such as a torn last line: topic "logbook", with file and line
	Ended    bool            // an end note is the last thing that happened

	Lines []int // of each capture in its file
}

// Valid returns the captures that count.
func (r *Run) Valid() []Capture {
	out := make([]Capture, 0, len(r.Captures))
	for _, c := range r.Captures {
		if c.Void == "" {
			out = append(out, c)
		}
	}
	return out
}

// stoppedWord begins the end note of a run that the operator stopped.
const stoppedWord = "stopped"

// Finished reports whether a run was completed. A run that was stopped or
// interrupted is not finished and can be resumed; an imported run is always
// finished.
func (r *Run) Finished() bool {
	if r.Header.Imported {
		return true
	}
	for i := len(r.Notes) - 1; i >= 0; i-- {
		switch r.Notes[i].Kind {
		case NoteEnd:
			return !strings.HasPrefix(r.Notes[i].Text, stoppedWord)
		case NoteResumed:
			return false
		}
	}
	return false
}
