// Package link turns the bytes of a module into samples: serial ports and
// recorded streams, and the decoders for what boards print.
//
// Open reads a port, OpenReplay a file. Both deliver Items: samples, the loss
// and the return of the port, and remarks of the topic link, each given once.
// The Decoder between bytes and samples finds out by itself what the lines
// mean; its Guess holds the evidence and the options that would settle an open
// question. Assess judges the health of the samples, WhichAxes the axes and
// Wiggle the lead; these, like the Decoder, use no port and no clock.
//
// Vectors are in sensor axes and microtesla; accelerations in g; times in seconds.
//
// Start reading at Decoder.Feed in decoder.go; detect.go decides on the lines,
// columns.go and fieldunit.go on numbers without labels, serial.go holds the port.
package link

import (
	"context"

	"quietmount/magmath/remark"
	"quietmount/survey"
)

// Item is an event on a link: a sample, or a change of state.
type Item struct {
	Kind   ItemKind
	Sample survey.Sample // Kind Reading
	TS     float64       // seconds from the opening of the link, for every kind
	Says   remark.Remark // every other kind: what happened
}

// ItemKind is the kind of an item.
type ItemKind int

// The kinds of items.
const (
	Reading ItemKind = iota // a sample
	Lost                    // the port is gone; the link waits for its return
	Back                    // the port is back
	Remark                  // said once: shape decided, bad lines, board restarted
)

// Source delivers items. Next blocks until there is one; it returns io.EOF at
// the end of a recorded stream and ctx's error when ctx ends.
type Source interface {
	Next(ctx context.Context) (Item, error)
	Close() error
}

// Monitor gives counts and guess of a source of this package, besides its
// items. The methods may be called at any time from any goroutine.
type Monitor interface {
	Counters() Counters
	Guess() (Guess, bool) // false: not decided yet
}
