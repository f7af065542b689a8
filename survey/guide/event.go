// Package guide walks an operator over the stations of one run. It is a state
// machine: samples, commands and the state of the link go in, events come out.
// It has no terminal, no file and no clock but the times of the samples. It
// emits Store for a good capture; the caller saves the capture and calls
// Stored, and only then is it acknowledged to the operator. The message of an
// event is a remark, worded in package report/words. Start at New and
// Walk.Sample.
package guide

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Kind is the kind of an event.
type Kind string

// The events of a walk. Those marked (script) are the lines of the JSON face,
// which do not change; the others are for people at a screen.
const (
	Checklist Kind = "checklist" // Items are to be confirmed before anything else
	Ready     Kind = "ready"     // (script) the walk can begin
	Go        Kind = "go"        // (script) put the probe at Station
	Moving    Kind = "moving"    // the probe is being moved
	Resting   Kind = "resting"   // the probe is at rest; Progress counts up to the dwell
	Switch    Kind = "load"      // (script) switch the load to On now
	Store     Kind = "store"     // save Capture, then call Stored
	Captured  Kind = "captured"  // (script) Capture is saved
	Rejected  Kind = "rejected"  // (script) the dwell was refused: Why
	Skipped   Kind = "skipped"   // the station was left out
	Voided    Kind = "voided"    // an earlier capture was voided: the caller records it
	Noted     Kind = "noted"     // Text is the operator's note: the caller records it
	Warning   Kind = "warning"   // (script) Why
	Paused    Kind = "paused"    // the link is gone, or the operator pauses
	Resumed   Kind = "resumed"   // the link is back, or the operator goes on
	Done      Kind = "done"      // (script) the walk is over, finished or stopped
)

// Event is one output of the walk. Only the fields listed for its Kind are set.
type Event struct {
	Kind     Kind
	Station  survey.Station   // Go, Resting, Captured, Rejected, Skipped, Voided, Switch; Warning about a capture: its station
	Visit    logbook.Visit    // Go, Captured
	Capture  *logbook.Capture // Store, Captured, Voided
	On       bool             // Switch
	Why      remark.Remark    // Rejected, Skipped, Voided, Warning, Paused, Resumed, Done
	Text     string           // Noted
	Items    []remark.Remark  // Checklist: what is still to be confirmed; Ready: what was shown
	Progress Progress         // Go, Resting, Captured
	B        r3.Vec           // Moving, Resting, Captured: field in the craft frame, microtesla
	FromBase *r3.Vec          // Resting, Captured: departure from the last base return, craft frame; nil before the first

	Difference *r3.Vec // Captured, pulsed: on minus off as the prompts or labels have it, for people; nil where unknown
	Captures   int     // Done: captures that count
}

// Code returns the code of the event's remark, such as CodeStale; empty if it
// has none.
func (e Event) Code() string { return e.Why.Name() }

// The codes of Event.Code that callers branch on. Scripts may rely on these and
// on all others; each of those is written where its remark is made.
const (
	CodeSaturated   = "saturated"
	CodeStale       = "stale"
	CodeLinkLost    = "link-lost"
	CodeSilent      = "silent"
	CodeReadings    = "readings-back"
	CodeWrongMark   = "wrong-mark"
	CodeTurnedArrow = "turned-arrow"
	CodeStoreFailed = "store-failed"
	CodeHeld        = "held"
	CodeGoesOn      = "goes-on"
	CodeFinished    = "finished"
	CodeStopped     = "stopped"
)

// Progress is the progress of the walk and of the dwell.
type Progress struct {
	Done, Total  int     // visits captured, visits planned
	SecondsLeft  float64 // of the walk, from the pace so far
	DwellFrac    float64 // 0..1 of the present dwell
	BaseReturnIn int     // stations until the next base return
}

// CommandKind is the kind of a command.
type CommandKind string

// The commands of an operator.
const (
	CmdCapture CommandKind = "capture" // capture now (an empty line)
	CmdRedo    CommandKind = "redo"    // void the last capture and go back to it; Text: that station's latest instead
	CmdSkip    CommandKind = "skip"
	CmdGoto    CommandKind = "goto" // Text: station name
	CmdNote    CommandKind = "note" // Text: the note
	CmdStop    CommandKind = "stop"
	CmdPause   CommandKind = "pause" // nothing is captured until continue, capture or a move to another station
	CmdGoOn    CommandKind = "continue"
	CmdConfirm CommandKind = "confirm" // one item of the checklist; Text may say what
)

// Command is a command of the operator.
type Command struct {
	Kind CommandKind
	Text string
}
