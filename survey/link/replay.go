package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"
)

// ReplayOptions are the options of playing a recorded stream.
type ReplayOptions struct {
	Decode DecodeOptions
	RateHz float64 // of samples without a time of their own; default 50
	// Realtime delivers the samples at the recorded intervals, by the clock Now,
	// instead of at once.
	Realtime bool
	Now      func() time.Time
}

// replay reads a recorded stream as Next asks for it.
type replay struct {
	r    io.Reader
	name string
	opts ReplayOptions

	mu    sync.Mutex
	dec   *Decoder
	items []Item
	buf   []byte
	end   error
	began time.Time
	first float64

	closed chan struct{}
	once   sync.Once
}

// OpenReplay plays a recorded stream through the decoder of the ports: at once,
// in the time of the stream's own clock or at RateHz. It drops only unreadable
// lines and keeps the first line. name is used in messages. Close closes r if
// it can be closed. A stream whose format stays undecided and that gave no
// sample ends with an *UndecidedError instead of io.EOF.
func OpenReplay(r io.Reader, name string, o ReplayOptions) (Source, error) {
	if o.RateHz == 0 {
		o.RateHz = 50
	}
	o.Decode.RateHz, o.Decode.KeepFirst = o.RateHz, true
	if err := o.Decode.Validate(); err != nil {
		return nil, fmt.Errorf("replay %s: %w", name, err)
	}
	if o.Realtime && o.Now == nil {
		return nil, fmt.Errorf("replay %s: no clock given", name)
	}
	return &replay{r: r, name: name, opts: o, dec: NewDecoder(o.Decode), buf: make([]byte, 8192), closed: make(chan struct{})}, nil
}

// Next delivers the next item.
func (p *replay) Next(ctx context.Context) (Item, error) {
	it, err := p.take(ctx)
	if err == nil && p.opts.Realtime && it.Kind == Reading {
		err = p.pace(ctx, it.TS)
	}
	return it, err
}

func (p *replay) take(ctx context.Context) (Item, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.items) == 0 {
		select {
		case <-p.closed:
			return Item{}, ErrClosed
		default:
		}
		if err := ctx.Err(); err != nil {
			return Item{}, err
		}
		if p.end != nil {
			return Item{}, p.end
		}
		p.fill()
	}
	it := p.items[0]
	p.items = p.items[1:]
	return it, nil
}

// fill reads a part of the stream.
func (p *replay) fill() {
	n, err := p.r.Read(p.buf)
	p.items = p.dec.Feed(p.items[:0], p.buf[:n], p.dec.clk.last)
	if err == nil {
		return
	}
	p.items = p.dec.Flush(p.items, p.dec.clk.last)
	switch {
	case !errors.Is(err, io.EOF):
		p.end = fmt.Errorf("replay %s: %w", p.name, err)
	case p.dec.Counters().Samples == 0 && p.dec.Err() != nil:
		p.end = fmt.Errorf("replay %s: %w", p.name, p.dec.Err())
	default:
		p.end = io.EOF
	}
}

// pace waits until a sample of time ts is due.
func (p *replay) pace(ctx context.Context, ts float64) error {
	p.mu.Lock()
	if p.began.IsZero() {
		p.began, p.first = p.opts.Now(), ts
	}
	due := p.began.Add(time.Duration((ts - p.first) * float64(time.Second)))
	p.mu.Unlock()
	t := time.NewTimer(due.Sub(p.opts.Now()))
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-p.closed:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	}
}

var _ Monitor = (*replay)(nil)

// Counters returns the counts so far.
func (p *replay) Counters() Counters {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.dec.Counters()
}

// Guess returns what was decided; false before the decision.
func (p *replay) Guess() (Guess, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.dec.Guess()
}

// Close ends the replay.
func (p *replay) Close() error {
	p.once.Do(func() { close(p.closed) })
	if c, ok := p.r.(io.Closer); ok {
		return c.Close()
	}
	return nil
}
