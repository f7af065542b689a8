// Package walk joins a link, the guide and the logbook: readings and commands
// go to the guide, captures go to the disk before they are acknowledged, and a
// face shows the guide's events. The faces are those of report/console and
// report/live/conduct; the clock is passed in.
//
// Its input is a Setup (the run to begin or resume), a link.Source and the
// operator's commands; its output a run file, events for the face, and a Summary.
// Start at Begin, which opens the file, then Run, which walks.
package walk

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"quietmount/magmath/remark"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
)

// Writer is what the walk needs of the logbook. *logbook.RunWriter is one.
type Writer interface {
	// Append saves a capture; when it returns nil the capture is on the disk.
	Append(c logbook.Capture) error
	Void(number int, why string, now time.Time) error
	Note(n logbook.Note) error
}

var _ Writer = (*logbook.RunWriter)(nil)

// Config sets up a walk.
type Config struct {
	Source   link.Source
	Commands <-chan guide.Command // closed when the operator's input ends; nil: no commands
	Walk     *guide.Walk
	Writer   Writer
	Face     func(guide.Event) error // shows an event; an error ends the walk
	Now      func() time.Time
	Words    func(remark.Remark) string // of what the file keeps as text

	// InOrder delays commands while a capture is being taken, so that a script
	// may send them without waiting for answers. Those of a person at a keyboard
	// act at once.
	InOrder bool
}

// Summary is the result of a walk.
type Summary struct {
	Captures int  // that count, in the whole run
	Finished bool // every visit was made
}

// ErrInput reports that the operator's input ended while the walk still needed
// it. The run is stopped and can be resumed.
var ErrInput = errors.New("the commands ended before the walk did")

// Run walks until the guide ends the walk, the source ends, the commands end
// although captures need them, or ctx is done; the last three stop the walk as
// the operator's stop does, and it can be resumed. Only a source that may block
// is read in another goroutine than the caller's.
//
// The error is that of the source or of the face, or one that names the notes
// that could not be saved. The end of a recorded stream (io.EOF) and the end
// of ctx are no errors.
func Run(ctx context.Context, cfg Config) (Summary, error) {
	if cfg.Source == nil || cfg.Walk == nil || cfg.Writer == nil || cfg.Face == nil || cfg.Now == nil || cfg.Words == nil {
		return Summary{}, errors.New("walk: source, walk, writer, face, clock and words are all needed")
	}
	l := &loop{Config: cfg}
	if s, ok := cfg.Source.(stepped); ok && s.Stepped() {
		return l.end(l.walk(ctx, func() error {
			item, err := l.Source.Next(ctx)
			return l.item(read{item, err})
		}))
	}
	ctx, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	items := make(chan read)
	wg.Go(func() { pump(ctx, cfg.Source, items) })
	err := l.run(ctx, items)
	cancel()
	wg.Wait()
	return l.end(err)
}

// read is a result of the source's Next.
type read struct {
	item link.Item
	err  error
}

// pump reads the source until it fails or ctx ends.
func pump(ctx context.Context, s link.Source, to chan<- read) {
	for {
		item, err := s.Next(ctx)
		select {
		case to <- read{item, err}:
		case <-ctx.Done():
			return
		}
		if err != nil {
			return
		}
	}
}

// loop is a walk in progress.
type loop struct {
	Config
	summary Summary
	quiet   *time.Timer    // runs out when readings stay away; nil: time goes by only as the source is read
	unsaved []func() error // voids and notes that the disk refused so far
}

// silentAfter is the time without a reading after which the guide is told; a
// restarting board returns sooner.
const silentAfter = 3 * time.Second

// run walks with items and commands as they arrive.
func (l *loop) run(ctx context.Context, items <-chan read) error {
	l.quiet = time.NewTimer(silentAfter)
	defer l.quiet.Stop()
	return l.walk(ctx, func() error {
		select {
		case r := <-items: // before a command or an alarm that is no older
			return l.item(r)
		default:
		}
		select {
		case <-ctx.Done():
			return l.stop()
		case c, ok := <-l.listening():
			return l.command(c, ok)
		case r := <-items:
			return l.item(r)
		case <-l.quiet.C:
			return l.handle(l.Walk.Silence(silentAfter.Seconds()))
		}
	})
}

// wait restarts the timer for the next reading.
func (l *loop) wait() {
	if l.quiet != nil {
		l.quiet.Reset(silentAfter)
	}
}

// walk takes step after step until the walk is over.
func (l *loop) walk(ctx context.Context, step func() error) error {
	if err := l.handle(l.Walk.Start()); err != nil {
		return err
	}
	for !l.Walk.Over() {
		if err := l.drain(); err != nil {
			return err
		}
		switch {
		case l.Walk.Over():
			return nil
		case l.starved():
			return errors.Join(ErrInput, l.stop())
		case ctx.Err() != nil:
			return l.stop()
		}
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// stepped is a source whose time passes only while it is read: a simulated
// module. It is read in the walk's own goroutine, so that the operator's actions
// depend on nothing but the readings.
type stepped interface{ Stepped() bool }

// listening returns the commands' channel, or nil while commands are delayed.
func (l *loop) listening() <-chan guide.Command {
	if l.InOrder && l.Walk.Busy() {
		return nil
	}
	return l.Commands
}

// drain handles the waiting commands before the next reading.
func (l *loop) drain() error {
	for l.listening() != nil && !l.Walk.Over() {
		select {
		case c, ok := <-l.Commands:
			if err := l.command(c, ok); err != nil {
				return err
			}
		default:
			return nil
		}
	}
	return nil
}

func (l *loop) command(c guide.Command, ok bool) error {
	if !ok {
		l.Commands = nil
		return nil
	}
	return l.handle(l.Walk.Command(c))
}

// starved reports whether the walk needs commands although none will come.
func (l *loop) starved() bool {
	return l.Commands == nil && !l.Walk.Busy() && l.Walk.NeedsCommands()
}

func (l *loop) stop() error { return l.handle(l.Walk.Command(guide.Command{Kind: guide.CmdStop})) }

// item passes on an item of the source.
func (l *loop) item(r read) error {
	switch {
	case errors.Is(r.err, io.EOF), errors.Is(r.err, context.Canceled), errors.Is(r.err, context.DeadlineExceeded):
		return l.stop()
	case r.err != nil:
		return errors.Join(fmt.Errorf("read the probe: %w", r.err), l.stop())
	}
	switch r.item.Kind {
	case link.Reading:
		l.wait()
		return l.handle(append(l.Walk.Silence(0), l.Walk.Sample(r.item.Sample)...))
	case link.Lost:
		l.note(logbook.NoteLink, "", l.Words(r.item.Says))
		return l.handle(l.Walk.Link(false, r.item.TS))
	case link.Back:
		l.note(logbook.NoteLink, "", l.Words(r.item.Says))
		l.wait()
		return l.handle(l.Walk.Link(true, r.item.TS))
	}
	return l.handle([]guide.Event{{Kind: guide.Warning, Why: remark.New("guide.link", remark.Values{"said": []remark.Remark{r.item.Says}})}})
}

// handle records and shows events, in order. It saves a capture first and shows
// it when the guide has acknowledged it.
func (l *loop) handle(events []guide.Event) error {
	for _, e := range events {
		if e.Kind == guide.Store {
			if err := l.store(e.Capture); err != nil {
				return err
			}
			continue
		}
		l.record(e)
		if err := l.Face(e); err != nil {
			return fmt.Errorf("show the walk: %w", err)
		}
	}
	return nil
}

func (l *loop) store(c *logbook.Capture) error {
	if c.Time.IsZero() {
		c.Time = l.Now()
	}
	err := l.flush()
	if err == nil {
		err = l.Writer.Append(*c)
	}
	if err != nil {
		return l.handle(l.Walk.StoreFailed(err))
	}
	return l.handle(l.Walk.Stored(c.Number))
}

// record writes the lines of the run file besides the captures.
func (l *loop) record(e guide.Event) {
	switch e.Kind {
	case guide.Rejected:
		l.note(logbook.NoteRejected, e.Station.Name, l.Words(e.Why))
	case guide.Skipped:
		l.note(logbook.NoteSkipped, e.Station.Name, l.Words(e.Why))
	case guide.Noted:
		l.note(logbook.NoteText, e.Station.Name, e.Text)
	case guide.Paused, guide.Resumed:
		if code := e.Code(); code == guide.CodeHeld || code == guide.CodeGoesOn { // the link notes its own
			l.note(logbook.NoteText, e.Station.Name, l.Words(e.Why))
		}
	case guide.Warning:
		l.note(logbook.NoteWarning, e.Station.Name, l.Words(e.Why))
	case guide.Voided:
		number, why, now := e.Capture.Number, l.Words(e.Why), l.Now()
		l.save(func() error { return l.Writer.Void(number, why, now) })
	case guide.Done:
		l.summary = Summary{e.Captures, e.Code() == guide.CodeFinished}
		l.note(logbook.NoteEnd, "", e.Code()+": "+l.Words(e.Why))
	}
}

func (l *loop) note(kind logbook.NoteKind, station, text string) {
	n := logbook.Note{Kind: kind, Station: station, Text: text, Time: l.Now()}
	l.save(func() error { return l.Writer.Note(n) })
}

// save writes a line now or, if that fails, before the next capture.
func (l *loop) save(write func() error) {
	l.unsaved = append(l.unsaved, write)
	_ = l.flush() // tried again before the next capture and at the end
}

// flush writes the waiting lines in order, until one fails.
func (l *loop) flush() error {
	for len(l.unsaved) > 0 {
		if err := l.unsaved[0](); err != nil {
			return err
		}
		l.unsaved = l.unsaved[1:]
	}
	return nil
}

// end tries a last time to save the waiting lines and returns the result of the
// walk.
func (l *loop) end(err error) (Summary, error) {
	if !l.Walk.Over() {
		l.note(logbook.NoteEnd, "", guide.CodeStopped)
	}
	if lost := l.flush(); lost != nil {
		err = errors.Join(err, fmt.Errorf("%d notes or voids of this run could not be saved: %w", len(l.unsaved), lost))
	}
	return l.summary, err
}
