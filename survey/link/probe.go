package link

import (
	"context"
	"time"
)

// baudTrial is the result of one baud rate.
type baudTrial struct {
	bytes     int
	printable float64 // share of the bytes that are text
	lines     int     // with at least one number
}

// ProbeBaud opens a port at the common baud rates in turn, the rate o.Baud (if
// not 0) first, and returns the first at which lines of text with numbers come,
// or 0 if none does. The port must not be open elsewhere. Each trial takes up
// to wait (default 3.5 s, the time of a board that restarts when its port
// opens) and ends early at eight good lines.
func ProbeBaud(ctx context.Context, o PortOptions, wait time.Duration) (int, error) {
	o = o.withDefaults()
	if wait <= 0 {
		wait = bootWait + 500*time.Millisecond
	}
	for i := -1; i < len(bauds); i++ {
		baud := o.Baud
		if i >= 0 {
			if baud = bauds[i]; baud == o.Baud {
				continue
			}
		}
		t, err := listenAt(ctx, o, baud, wait)
		if err != nil {
			return 0, err
		}
		if t.lines >= 2 && t.printable > 0.9 {
			return baud, nil
		}
	}
	return 0, nil
}

// listenAt reads at one rate.
func listenAt(ctx context.Context, o PortOptions, baud int, wait time.Duration) (baudTrial, error) {
	var t baudTrial
	p, err := o.Open(o.Name, baud)
	if err != nil {
		return t, openError(o.Name, err)
	}
	defer p.Close()
	ctx, cancel := context.WithTimeoutCause(ctx, wait, errWaited)
	defer cancel()
	var text lineBuffer
	var sc scanned
	text.drop = true
	good, buf := 0, make([]byte, 1024)
	for ctx.Err() == nil && t.lines < 8 {
		n, err := p.Read(buf)
		if err != nil {
			return t, openError(o.Name, err)
		}
		for _, c := range buf[:n] {
			t.bytes++
			if printable(c) {
				good++
			}
			if text.add(c) {
				if scan(text.line(), groupNone, &sc); sc.n > 0 {
					t.lines++
				}
				text.reset()
			}
		}
	}
	if t.bytes > 0 {
		t.printable = float64(good) / float64(t.bytes)
	}
	if cause := context.Cause(ctx); cause != nil && cause != errWaited {
		return t, cause
	}
	return t, nil
}
