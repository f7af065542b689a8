// Package link turns the bytes of a module into samples: serial ports and
// recorded streams, and the decoders for what boards print.
//
// A Decoder is pure: bytes and arrival times go in, items come out. Open and
// OpenReplay put a port or a file in front of it. What a stream says about
// the health of the probe is computed by Assess, WhichAxes and Wiggle, which
// are pure too.
//
// Vectors are in sensor axes and microtesla; accelerations in g. Remarks are
// for people; their Code is stable and meant for programs.
package link

import (
	"context"

	"quietmount/survey"
)

// Item is one thing that happened on a link: a sample, or a change of state.
type Item struct {
	Kind   ItemKind
	Sample survey.Sample // Kind Reading
	TS     float64       // seconds from the opening of the link, for every kind
	Text   string        // for people: what happened and what next
	Code   Code          // Kind Remark: what the remark is about
}

// ItemKind sorts the items.
type ItemKind int

// What can happen on a link.
const (
	Reading ItemKind = iota // a sample
	Lost                    // the port is gone; the link waits for its return
	Back                    // the port is back
	Remark                  // worth saying once: shape decided, bad lines, board restarted
)

// Code is a stable short name for what a Remark says.
type Code string

// The remarks.
const (
	CodeShape     Code = "shape"     // the shape of the lines was decided
	CodeUndecided Code = "undecided" // it could not be; Text names the flag that settles it
	CodeChanged   Code = "changed"   // the lines no longer look as they did; looking anew
	CodeBadLines  Code = "bad-lines" // a noticeable share of lines is unreadable
	CodeRestart   Code = "restart"   // the board's clock went back: it restarted
	CodeClock     Code = "clock"     // the board's clock stands still: arrival times are taken
	CodeColumns   Code = "columns"   // the named columns do not fit the lines
	CodeSensors   Code = "sensors"   // several sensors are on the line, one is taken
	CodeNMEA      Code = "nmea"      // position sentences only: no magnetometer here
	CodeBinary    Code = "binary"    // a binary stream that is not read yet
	CodeBaud      Code = "baud"      // mostly unprintable: the baud rate is wrong
	CodeOpened    Code = "opened"    // the port is open; the board may restart
	CodeSilence   Code = "silence"   // nothing comes
	CodeOverflow  Code = "overflow"  // items were dropped because nobody fetched them
)

// Source delivers items. Next blocks until there is one; it returns io.EOF at
// the end of a recorded stream and ctx's error when ctx ends.
type Source interface {
	Next(ctx context.Context) (Item, error)
	Close() error
}

// Monitor is what the sources of this package can tell about themselves
// besides their items. The methods may be called at any time from any
// goroutine.
type Monitor interface {
	Counters() Counters
	Guess() (Guess, bool) // false: not decided yet
}
