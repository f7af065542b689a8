package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"quietmount/magmath/remark"
)

// ErrClosed is the error of Next after Close.
var ErrClosed = errors.New("the link is closed")

// PortOptions are the port and how to read it. Zero fields take the defaults.
type PortOptions struct {
	Name     string
	Baud     int              // default 115200; boards with native USB ignore it
	Now      func() time.Time // the clock; needed
	Decode   DecodeOptions
	Silence  time.Duration // without a byte before it is reported; default 5 s
	PollBack time.Duration // between looks for a lost port; default 500 ms

	Open Opener // default: the serial ports of this machine

	ports func() ([]PortInfo, error) // tests
}

// rawPort is the part of a serial port that a link uses. Read returns 0, nil after
// a short while without bytes.
type rawPort = io.ReadCloser

// Opener opens the port of a name. Read of the port returns 0, nil after a short
// while without bytes, and an error when the board is gone.
type Opener func(name string, baud int) (io.ReadCloser, error)

const (
	readWait    = 100 * time.Millisecond
	bootWait    = 3 * time.Second // boards that restart when the port opens take 0.8 to 3 s
	defaultBaud = 115200
)

// serialLink reads a port in a goroutine of its own until it is closed.
type serialLink struct {
	opts   PortOptions
	start  time.Time
	q      *queue
	cancel context.CancelFunc
	done   sync.WaitGroup
	usb    *PortInfo // identity of the board, to know it again; nil: none

	mu       sync.Mutex
	counters Counters
	guess    Guess
	decided  bool

	// the reader's own
	dec      *Decoder
	lastByte time.Time
	opened   time.Time
	silent   bool
}

// Open opens a serial port and reads it until Close or the end of ctx. Both
// control lines stay raised, which boards with native USB need in order to
// print; others restart and are silent for up to 3 seconds. A port that vanishes
// is reported (Lost) and looked for, by name and by the USB identity of its
// board; when it is back (Back), reading goes on.
//
// The error is an *OpenError when the port itself is the reason.
func Open(ctx context.Context, o PortOptions) (Source, error) {
	if o.Now == nil {
		return nil, errors.New("open port: no clock given")
	}
	if err := o.Decode.Validate(); err != nil {
		return nil, fmt.Errorf("open %s: %w", o.Name, err)
	}
	o = o.withDefaults()
	o.Decode.RateHz = 0
	p, err := o.Open(o.Name, o.Baud)
	if err != nil {
		return nil, openError(o.Name, err)
	}
	ctx, cancel := context.WithCancel(ctx)
	now := o.Now()
	l := &serialLink{opts: o, start: now, q: newQueue(), cancel: cancel, dec: NewDecoder(o.Decode), lastByte: now, opened: now}
	l.usb = identify(o.ports, o.Name)
	l.q.put([]Item{{Kind: Remark, Says: remark.New("link.opened", remark.Values{"port": o.Name, "baud": o.Baud})}})
	l.done.Go(func() { l.run(ctx, p) })
	return l, nil
}

func (o PortOptions) withDefaults() PortOptions {
	if o.Baud == 0 {
		o.Baud = defaultBaud
	}
	if o.Silence <= 0 {
		o.Silence = 5 * time.Second
	}
	if o.PollBack <= 0 {
		o.PollBack = 500 * time.Millisecond
	}
	if o.Open == nil {
		o.Open = openSerial
	}
	if o.ports == nil {
		o.ports = Ports
	}
	return o
}

// Next delivers the next item, ErrClosed after Close, or an error of ctx.
func (l *serialLink) Next(ctx context.Context) (Item, error) { return l.q.next(ctx) }

// Close ends the reading and waits for it.
func (l *serialLink) Close() error {
	l.cancel()
	l.done.Wait()
	return nil
}

var _ Monitor = (*serialLink)(nil)

// Counters returns the counts so far.
func (l *serialLink) Counters() Counters {
	l.mu.Lock()
	defer l.mu.Unlock()
	c := l.counters
	c.Dropped = l.q.lost()
	return c
}

// Guess returns what the decoder decided; false before the decision.
func (l *serialLink) Guess() (Guess, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.guess, l.decided
}

// run reads and, while the port is gone, waits for its return, until ctx ends.
func (l *serialLink) run(ctx context.Context, p rawPort) {
	defer l.cancel()
	for {
		err := l.read(ctx, p)
		p.Close()
		if ctx.Err() != nil {
			break
		}
		l.put(Item{Kind: Lost, TS: l.now(), Says: remark.New("link.lost", remark.Values{"port": l.opts.Name, "cause": err.Error()})})
		if p = l.await(ctx); p == nil {
			break
		}
		l.dec.Broken()
		l.lastByte, l.silent = l.opts.Now(), false
		l.opened = l.lastByte
		l.put(Item{Kind: Back, TS: l.now(), Says: remark.New("link.back", remark.Values{"port": l.opts.Name})})
	}
	l.q.close(ErrClosed)
}

// read feeds the decoder until the port fails or ctx ends. A failing read
// without our own closing means that the device is gone.
func (l *serialLink) read(ctx context.Context, p rawPort) error {
	buf := make([]byte, 4096)
	var items []Item
	for ctx.Err() == nil {
		n, err := p.Read(buf)
		now := l.opts.Now()
		items = l.dec.Feed(items[:0], buf[:n], now.Sub(l.start).Seconds())
		if n > 0 {
			l.lastByte, l.silent = now, false
		} else if err == nil {
			items = l.quiet(items, now)
		}
		l.publish(items)
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}

// publish passes on items and updates Counters and Guess.
func (l *serialLink) publish(items []Item) {
	l.mu.Lock()
	l.counters = l.dec.Counters()
	l.guess, l.decided = l.dec.Guess()
	l.mu.Unlock()
	l.q.put(items)
}

func (l *serialLink) put(it Item) { l.q.put([]Item{it}) }

// now returns the seconds since the port was opened.
func (l *serialLink) now() float64 { return l.opts.Now().Sub(l.start).Seconds() }

// quiet remarks once that nothing has come for too long.
func (l *serialLink) quiet(items []Item, now time.Time) []Item {
	wait := l.opts.Silence
	if !l.lastByte.After(l.opened) {
		wait = max(wait, min(bootWait, 2*wait))
	}
	if l.silent || now.Sub(l.lastByte) < wait {
		return items
	}
	l.silent = true
	says := remark.New("link.silence", remark.Values{"for_s": now.Sub(l.lastByte).Seconds(),
		"ever": l.dec.Counters().Bytes > 0, "common": BaudNames()})
	return append(items, Item{Kind: Remark, TS: now.Sub(l.start).Seconds(), Says: says})
}

// await polls for the port's return; nil when ctx ends.
func (l *serialLink) await(ctx context.Context) rawPort {
	tick := time.NewTicker(l.opts.PollBack)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		if p := l.reopen(); p != nil {
			return p
		}
	}
}

// reopen tries the old name and, for a board that can be told by its USB
// identity, the name it has now.
func (l *serialLink) reopen() rawPort {
	name := l.opts.Name
	if l.usb != nil {
		now := find(l.opts.ports, *l.usb)
		if now == "" {
			return nil
		}
		if old := identify(l.opts.ports, name); old == nil || !old.sameBoard(*l.usb) {
			name = now
		}
	}
	p, err := l.opts.Open(name, l.opts.Baud)
	if err != nil {
		return nil
	}
	l.opts.Name = name
	return p
}
