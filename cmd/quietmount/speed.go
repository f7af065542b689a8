package main

import (
	"context"

	"quietmount/survey/link"
)

// portSpeed is the speed at which a port sends text, in bits a second; 0: at
// none of the common ones.
func (l *listener) portSpeed(ctx context.Context, port string) (int, error) {
	return link.ProbeBaud(ctx, link.PortOptions{Name: port, Open: l.sh.OpenPort}, 0)
}

// atAnotherSpeed looks, where what came at the usual speed was no text, for
// the speed at which it is, and lets err end with what to call then.
func (l *listener) atAnotherSpeed(err error, speed func(ctx context.Context, port string) (int, error)) error {
	if !l.noText || l.ctx.Err() != nil {
		return err
	}
	if cerr := l.source.Close(); cerr != nil {
		return err
	}
	say(l.sh.Err, "quietmount: trying other speeds; that takes up to 40 seconds")
	switch baud, serr := speed(l.ctx, l.source.name); {
	case l.ctx.Err() != nil:
		return l.ctx.Err()
	case serr != nil, baud == usualBaud: // text comes by now: the speed is not what is wrong
		return err
	case baud == 0:
		return withHint(err, "no text at any of the common speeds: is this the module's own port, and does its program print lines of text?")
	default:
		return withHint(err, "it sends text at %d bits a second: add --baud %[1]d, here and with every command that reads it", baud)
	}
}
