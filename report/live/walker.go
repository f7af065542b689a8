package live

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/walk"
)

// walker conducts one run at a time: the page's commands go in, what the pages
// show goes out. The core is that of the terminal; so is the lock.
type walker struct {
	bench *Bench

	mu      sync.Mutex
	session *session // nil: none is under way
}

// session is a run under way.
type session struct {
	commands chan guide.Command
	cancel   context.CancelFunc
	done     chan struct{}
}

// errNoWalk answers a command that has nowhere to go.
var errNoWalk = errors.New("no run is under way")

func newWalker(b *Bench) *walker { return &walker{bench: b} }

// active reports whether a run is under way.
func (w *walker) active() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.session != nil
}

// begin starts a run with the probe that is connected. It answers at once; how
// the run goes is told over the stream.
func (w *walker) begin(s walk.Setup) error {
	board := newBoard(w.bench, s)
	var err error
	return w.startThen(func(ctx context.Context, tap *Tap, commands <-chan guide.Command) {
		board.open()
		err = board.run(ctx, tap, commands)
	}, func() { board.end(err) })
}

// start lets conduct have the probe and the operator's commands until it
// returns: one at a time on a bench.
func (w *walker) start(conduct func(ctx context.Context, tap *Tap, commands <-chan guide.Command)) error {
	return w.startThen(conduct, func() {})
}

// startThen is start; ended is called when the probe is free again, so that the
// pages hear of the end no sooner than something else can begin.
func (w *walker) startThen(conduct func(ctx context.Context, tap *Tap, commands <-chan guide.Command), ended func()) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.session != nil {
		return errors.New(w.bench.Words("walk.under_way"))
	}
	tap, err := w.bench.probe.Tap()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(w.bench.ctx)
	now := &session{commands: make(chan guide.Command), cancel: cancel, done: make(chan struct{})}
	w.session = now
	w.bench.stream.Show("busy", true)
	go func() {
		defer close(now.done)
		defer cancel()
		conduct(ctx, tap, now.commands)
		_ = tap.Close()
		w.mu.Lock()
		w.session = nil
		w.mu.Unlock()
		w.bench.stream.Show("busy", false)
		ended()
	}()
	return nil
}

// close stops the run under way as the operator's stop does and waits for it.
func (w *walker) close() {
	w.mu.Lock()
	s := w.session
	w.mu.Unlock()
	if s != nil {
		s.cancel()
		<-s.done
	}
}

// commandLimit is how long a command may wait for the run to take it.
const commandLimit = 5 * time.Second

// command passes one on.
func (w *walker) command(ctx context.Context, c guide.Command) error {
	w.mu.Lock()
	s := w.session
	w.mu.Unlock()
	if s == nil {
		return errNoWalk
	}
	ctx, cancel := context.WithTimeout(ctx, commandLimit)
	defer cancel()
	select {
	case s.commands <- c:
		return nil
	case <-s.done:
		return errNoWalk
	case <-ctx.Done():
		return errors.New(w.bench.Words("walk.no_answer"))
	}
}

// run walks one run: a reading first, then the checklist, then the file.
func (b *board) run(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
	if err := b.bench.awaitReading(ctx, tap, commands); err != nil {
		return err
	}
	s := b.setup
	probe := b.bench.probe
	s.Port, s.Decoder = probe.State().Port, probe.Shape()
	if err := walk.Confirm(ctx, s.Checklist(), commands, b.face); err != nil {
		return err
	}
	s.Confirmed, s.Now = true, b.bench.Now()
	begun, err := walk.Begin(s)
	if err != nil {
		return err
	}
	b.begun(begun)
	_, err = walk.Run(ctx, walk.Config{
		Source: &watchedTap{Tap: tap, board: b}, Commands: commands, Walk: begun.Walk, Writer: begun.Writer,
		Face: b.face, Now: b.bench.Now,
	})
	return errors.Join(err, begun.Writer.Close())
}

// firstReading is how long a board may take to restart and be understood.
const firstReading = 15 * time.Second

// awaitReading waits for a reading, so that a run is begun only with a module that is
// there and understood. Stop gives up; other commands have no meaning yet.
func (b *Bench) awaitReading(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
	waiting, cancel := context.WithTimeoutCause(ctx, firstReading, errors.New(b.Words("walk.no_reading")))
	defer cancel()
	stop := make(chan struct{})
	var wg sync.WaitGroup
	defer wg.Wait()
	defer close(stop)
	wg.Go(func() {
		for {
			select {
			case c := <-commands:
				if c.Kind == guide.CmdStop {
					cancel()
				}
			case <-stop:
				return
			}
		}
	})
	for {
		item, err := tap.Next(waiting)
		switch {
		case errors.Is(err, io.EOF):
			return errors.New(b.Words("walk.no_reading"))
		case err != nil && waiting.Err() != nil && ctx.Err() == nil:
			if cause := context.Cause(waiting); !errors.Is(cause, context.Canceled) {
				return cause
			}
			return walk.ErrDeclined
		case err != nil:
			return fmt.Errorf("wait for a reading: %w", err)
		case item.Kind == link.Reading:
			return nil
		}
	}
}
