// Package conduct leads guided work that a page began: a walk over the stations,
// a proof, an arrow check, a swing, the turn of a calibration, and the wiggling
// of the probe's lead. The guide, the logbook and the lock are those of the
// terminal; this package is their face on the pages.
//
// In come set-ups (walk.Setup, swing.Setup, Turn), the operator's commands, and
// readings of the one Probe. Out go states, live values and cues over a
// serve.Stream, run files through survey/walk and survey/swing, and stored
// calibrations. The texts of the events come from the words that Options.Say
// looks up, in the families run, link and calibrate.
//
// Start reading at Conductor.guided, which every walk, proof, check and swing
// goes through, then face.take, which turns an event of the guide into what the
// pages show. probe.go holds the link, turn.go and wiggle.go the two kinds of
// work that follow no stations.
package conduct

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"quietmount/report/live/serve"
	"quietmount/report/words"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// Options are what guided work needs from outside.
type Options struct {
	Dir    string           // the craft folder
	Tool   string           // version, for headers
	Now    func() time.Time // the clock
	Open   func(ctx context.Context, port string, baud int) (link.Source, error)
	Stream *serve.Stream
	Say    func(key string, args ...any) string // the texts
}

// Conductor leads one piece of guided work at a time, with the one Probe.
type Conductor struct {
	Options
	Probe *Probe
	ctx   context.Context // ends with the server

	mu      sync.Mutex
	session *session // nil: nothing is under way
}

// session is a piece of work under way.
type session struct {
	commands chan guide.Command
	cancel   context.CancelFunc
	done     chan struct{}
}

// ErrIdle answers a command while nothing is under way.
var ErrIdle = errors.New("no run is under way")

// New returns a conductor with nothing under way and no port open.
func New(o Options) *Conductor {
	c := &Conductor{Options: o, ctx: context.Background()}
	c.Probe = &Probe{conductor: c}
	return c
}

// Start lets all work end with ctx. Call it once, before anything else.
func (c *Conductor) Start(ctx context.Context) { c.ctx = ctx }

// OpenNamed opens a port if its name is not empty. If it does not open, the
// state of the link says why.
func (c *Conductor) OpenNamed(port string, baud int) {
	if port != "" {
		if err := c.Probe.Connect(port, baud); err != nil {
			c.Probe.mu.Lock()
			c.Probe.why = err.Error()
			c.Probe.mu.Unlock()
		}
	}
	c.Probe.publish()
}

// Close stops the work under way as the operator's stop does, waits for its end,
// and closes the port.
func (c *Conductor) Close() {
	c.mu.Lock()
	s := c.session
	c.mu.Unlock()
	if s != nil {
		s.cancel()
		<-s.done
	}
	c.Probe.Disconnect()
}

// Busy reports whether guided work is under way, which needs the probe, the
// folder's lock and the operator.
func (c *Conductor) Busy() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.session != nil
}

// commandLimit is how long a command may wait for the work to take it.
const commandLimit = 5 * time.Second

// Command passes one of the operator's commands on. ErrIdle: nothing is under
// way.
func (c *Conductor) Command(ctx context.Context, command guide.Command) error {
	c.mu.Lock()
	s := c.session
	c.mu.Unlock()
	if s == nil {
		return ErrIdle
	}
	ctx, cancel := context.WithTimeout(ctx, commandLimit)
	defer cancel()
	select {
	case s.commands <- command:
		return nil
	case <-s.done:
		return ErrIdle
	case <-ctx.Done():
		return errors.New(c.Say("run.no_answer"))
	}
}

// start gives do the probe and the commands until it returns, and returns at
// once. ended is called when the probe is free again: pages hear of the end when
// the next work can begin.
func (c *Conductor) start(do func(ctx context.Context, tap *Tap, commands <-chan guide.Command) error, ended func(error)) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.session != nil {
		return errors.New(c.Say("run.under_way"))
	}
	tap, err := c.Probe.Tap()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(c.ctx)
	now := &session{commands: make(chan guide.Command), cancel: cancel, done: make(chan struct{})}
	c.session = now
	c.Stream.Show("busy", true)
	go func() {
		defer close(now.done)
		defer cancel()
		err := do(ctx, tap, now.commands)
		_ = tap.Close()
		c.mu.Lock()
		c.session = nil
		c.mu.Unlock()
		c.Stream.Show("busy", false)
		ended(err)
	}()
	return nil
}

// Walk begins or resumes a run over stations, or a proof. It returns at once;
// the topics walk, walk_live and walk_cue tell how the run goes.
func (c *Conductor) Walk(s walk.Setup) error {
	f := newFace(c, "walk", State{What: "walk", State: s.State, Pulsed: s.Pulsed, HandsFree: s.HandsFree}, s.Checklist())
	return c.guided(f, func() (*logbook.RunWriter, *guide.Walk, error) {
		s.Port, s.Decoder = c.Probe.State().Port, c.Probe.shape()
		s.Confirmed, s.Now, s.Words = true, c.Now(), words.Terminal.Say // the file says the same whoever led the walk
		begun, err := walk.Begin(s)
		if err != nil {
			return nil, nil, err
		}
		f.begun(begun, s)
		return begun.Writer, begun.Walk, nil
	})
}

// Pose begins an arrow check or a swing; resumed is the file of the one to
// resume, nil for a new one. It returns at once; the topics pose, pose_live and
// pose_cue tell how it goes.
func (c *Conductor) Pose(s swing.Setup, resumed *logbook.SwingFile) error {
	f := newFace(c, "pose", State{What: s.Header.What, HandsFree: s.HandsFree}, s.Checklist())
	f.dwellS = s.DwellS
	var stops []string
	if resumed != nil {
		stops = resumed.Header.Stations
	} else {
		for _, v := range s.Route.Visits {
			stops = append(stops, v.Station.Name)
		}
	}
	for _, name := range stops {
		f.now.Marks = append(f.now.Marks, Mark{Name: name})
	}
	if resumed != nil {
		for _, have := range resumed.Valid() {
			f.count(have, nil, nil)
		}
	}
	return c.guided(f, func() (*logbook.RunWriter, *guide.Walk, error) {
		s.Port, s.Decoder = c.Probe.State().Port, c.Probe.shape()
		s.Confirmed, s.Tool, s.Now = true, c.Tool, c.Now()
		begun, err := swing.Begin(s)
		if err != nil {
			return nil, nil, err
		}
		f.header = begun.Writer.Header()
		return begun.Writer, begun.Walk, nil
	})
}

// guided leads work that follows stations: a first reading, the checklist, the
// file that begin opens, then stop after stop until the guide ends it.
func (c *Conductor) guided(f *face, begin func() (*logbook.RunWriter, *guide.Walk, error)) error {
	return c.start(func(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
		f.publish()
		if err := c.awaitReading(ctx, tap, commands); err != nil {
			return err
		}
		if err := walk.Confirm(ctx, f.checklist, commands, f.show); err != nil {
			return err
		}
		writer, steps, err := begin()
		if err != nil {
			return err
		}
		_, err = walk.Run(ctx, walk.Config{
			Source: &watchedTap{Tap: tap, face: f}, Commands: commands, Walk: steps, Writer: writer, Face: f.show, Now: c.Now, Words: words.Terminal.Say,
		})
		return errors.Join(err, writer.Close())
	}, f.end)
}

// firstReading is how long a board may take to restart and be understood.
const firstReading = 15 * time.Second

// awaitReading waits for a reading: work begins only with a module that sends
// something that is understood. The stop command ends it with walk.ErrDeclined;
// other commands are ignored.
func (c *Conductor) awaitReading(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
	silent := errors.New(c.Say("run.no_reading"))
	waiting, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	late := time.AfterFunc(firstReading, func() { cancel(silent) })
	defer late.Stop()
	got := make(chan struct{})
	var wg sync.WaitGroup
	defer wg.Wait()
	defer close(got)
	wg.Go(func() {
		for {
			select {
			case command := <-commands:
				if command.Kind == guide.CmdStop {
					cancel(walk.ErrDeclined)
				}
			case <-got:
				return
			}
		}
	})
	for {
		item, err := tap.Next(waiting)
		switch {
		case errors.Is(err, io.EOF):
			return silent
		case err != nil && waiting.Err() != nil && ctx.Err() == nil:
			return context.Cause(waiting)
		case err != nil:
			return fmt.Errorf("wait for a reading: %w", err)
		case item.Kind == link.Reading:
			return nil
		}
	}
}
