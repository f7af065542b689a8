// Package link turns the bytes of a module into samples: serial ports and
// recorded streams, and the decoders for what boards print.
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

// Source delivers items. Next blocks until there is one; it returns io.EOF at
// the end of a recorded stream and ctx's error when ctx ends.
type Source interface {
	Next(ctx context.Context) (Item, error)
	Close() error
}
