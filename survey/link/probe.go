package link

import (
	"context"
	"time"
)

// BaudTrial is what came at one baud rate.
type BaudTrial struct {
	Baud      int
	Bytes     int
	Printable float64 // share of the bytes that are text
	Lines     int     // with at least one number
}

// ProbeBaud opens a port at the common baud rates in turn, with baud (if not
// 0) first, and returns the first at which lines of text with numbers come, or
// 0 and all trials if none does. Each trial takes up to wait (default 3.5 s,
// the time of a board that restarts when its port opens) and ends early at
// eight good lines.
func ProbeBaud(ctx context.Context, o PortOptions, wait time.Duration) (int, []BaudTrial, error) {
	o = o.withDefaults()
	if wait <= 0 {
		wait = bootWait + 500*time.Millisecond
	}
	var trials []BaudTrial
	for i := -1; i < len(bauds); i++ {
		baud := o.Baud
		if i >= 0 {
			if baud = bauds[i]; baud == o.Baud {
				continue
			}
		}
		t, err := listenAt(ctx, o, baud, wait)
		if err != nil {
			return 0, trials, err
		}
		trials = append(trials, t)
		if t.Lines >= 2 && t.Printable > 0.9 {
			return baud, trials, nil
		}
	}
	return 0, trials, nil
}

// listenAt reads at one rate.
func listenAt(ctx context.Context, o PortOptions, baud int, wait time.Duration) (BaudTrial, error) {
	t := BaudTrial{Baud: baud}
	p, err := o.open(o.Name, baud)
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
	for ctx.Err() == nil && t.Lines < 8 {
		n, err := p.Read(buf)
		if err != nil {
			return t, openError(o.Name, err)
		}
		for _, c := range buf[:n] {
			t.Bytes++
			if printable(c) {
				good++
			}
			if text.add(c) {
				if scan(text.line(), groupNone, &sc); sc.n > 0 {
					t.Lines++
				}
				text.reset()
			}
		}
	}
	if t.Bytes > 0 {
		t.Printable = float64(good) / float64(t.Bytes)
	}
	if cause := context.Cause(ctx); cause != nil && cause != errWaited {
		return t, cause
	}
	return t, nil
}
