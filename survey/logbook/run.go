package logbook

import (
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
)

// SimulatedPort stands in the header where no module was connected: a
// simulation made the samples.
const SimulatedPort = "simulated module"

// Header opens a run file.
type Header struct {
	Run         int // number in the file name
	CraftSHA256 string
	Craft       string // the craft's name
	State       string // background, unpowered or a load's name
	CurrentA    float64
	HasCurrent  bool // CurrentA was stated or measured
	Pulsed      bool
	Substitute  bool // a supply or a resistor took the motor's place
	Probe       string
	Axes        *magmath.Mat3 // craft vector = Axes * sensor vector; nil: no mapping known
	Calibration string        // ID of a stored calibration, empty: none
	Correction  *Correction   // what that calibration does, copied so that a run stands alone
	Port        string
	Decoder     string
	Tool        string    // version
	Started     time.Time // with zone
	Session     string    // the set-up: default the day
	NoseDeg     *float64  // magnetic direction of the nose
	Fitted      []string  // confirmed as fitted
	Confirmed   []string  // cautions confirmed
	Imported    bool
	Rhythm      *Rhythm          // of a pulsed run
	Proof       bool             // the module stood at the chosen spot: kept out of the map, which it is to prove
	Extra       []survey.Station // walked besides or instead of the craft file's own: places that it does not name
	Stations    []string         // those of the walk, where it was not planned over all of the state
}

// Correction is corrected = Matrix (raw - OffsetUT), in sensor axes.
type Correction struct {
	OffsetUT r3.Vec
	Matrix   magmath.Mat3
}

// Rhythm is the rhythm of a pulsed capture: Pulses times OnS on and OffS off.
// It begins with OffS off.
type Rhythm struct {
	Pulses    int
	OnS, OffS float64
	DropS     float64 // dropped after each edge
}

// Prompt is a moment at which the operator was told to switch.
type Prompt struct {
	TS float64 // on the clock of the samples
	On bool
}

// Capture is one dwell at one station: the samples kept from it and what was
// said when it was acknowledged.
type Capture struct {
	Number  int // 1, 2, ... within the run
	Station string
	At      r3.Vec // surface under the foot, craft frame, mm
	Visit   Visit  // why the guide asked for it
	Time    time.Time
	Samples []survey.Sample
	Prompts []Prompt // of a pulsed capture whose switching was prompted

	// As acknowledged, after axes and calibration, craft frame; for people,
	// the evaluation starts from the samples again.
	BUT           r3.Vec
	UncertaintyUT float64

	Void string // why a later line voided it; empty: counts
}

// Visit says why a capture was asked for.
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
	NoteEnd      NoteKind = "end" // the run was finished or stopped
)

// Note is a line of a run that is not a capture.
type Note struct {
	Kind    NoteKind
	Station string
	Text    string
	Time    time.Time
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

// Valid are the captures that count.
func (r *Run) Valid() []Capture {
	out := make([]Capture, 0, len(r.Captures))
	for _, c := range r.Captures {
		if c.Void == "" {
			out = append(out, c)
		}
	}
	return out
}
