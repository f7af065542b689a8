package sim

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"quietmount/survey"
)

// ErrNoTerminal says that this system has no pseudo-terminals to serve.
var ErrNoTerminal = errors.New("a simulated port is not supported here, only on Linux and macOS; use the demonstration or a recorded stream")

// ServeOptions say how Serve plays its part.
type ServeOptions struct {
	Link     string            // a symbolic link to keep on the terminal, so that its name outlives unplugging; empty: none
	Stations []survey.Station  // the marks; following, the order of the walk
	FollowS  float64           // above 0: carry the probe along Stations, so many seconds each
	Commands <-chan string     // typed lines; nil: none
	Speed    float64           // of the bench's time by the wall's, up to fastest; 0: real time
	Say      io.Writer         // what happens, for people; nil: nowhere
	Opened   func(path string) // told the path of the terminal each time it is plugged in; nil: nobody
}

// fastest is the most that a bench's time can be hurried: a module of 100
// readings a second then ticks every tenth of a millisecond.
const fastest = 100

// Serve plays the bench's module at a pseudo-terminal, in real time at the
// module's own rate unless another speed is asked for, until ctx ends (nil) or
// the terminal fails; a speed below 0 or over fastest is an error. Bytes that
// nobody reads are dropped, as a board's are, and on a machine too busy to keep
// up the bench's time falls behind.
func Serve(ctx context.Context, b *Bench, o ServeOptions) error {
	s := &server{bench: b, o: o}
	switch {
	case o.Speed == 0:
		s.o.Speed = 1
	case !(o.Speed > 0 && o.Speed <= fastest):
		return fmt.Errorf("a speed of %g: from 0 to %d times real time", o.Speed, fastest)
	}
	if o.Say == nil {
		s.o.Say = io.Discard
	}
	s.control = Control{Bench: b, Stations: o.Stations, Plug: s.plug}
	if err := s.plug(true); err != nil {
		return err
	}
	defer s.plug(false)
	return s.play(ctx)
}

// server is Serve at work.
type server struct {
	bench   *Bench
	o       ServeOptions
	control Control
	port    *ptyPort // nil: unplugged
	follow  int      // next of the stations
	nextS   float64  // bench's time at which to go there
}

// plug opens a terminal or closes it.
func (s *server) plug(in bool) error {
	if in == (s.port != nil) {
		return nil
	}
	if !in {
		err := s.port.Close()
		s.port = nil
		return errors.Join(err, s.unlink())
	}
	port, err := openPTY()
	if err != nil {
		return fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	path := port.Name()
	if s.o.Link != "" {
		if err := errors.Join(s.unlink(), os.Symlink(path, s.o.Link)); err != nil {
			return errors.Join(err, port.Close())
		}
		path = s.o.Link
	}
	s.port = port
	fmt.Fprintf(s.o.Say, "simulated module at %s\n", path)
	if s.o.Opened != nil {
		s.o.Opened(path)
	}
	return nil
}

// unlink removes the symbolic link, and nothing that is not one.
func (s *server) unlink() error {
	if s.o.Link == "" {
		return nil
	}
	info, err := os.Lstat(s.o.Link)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.Mode()&os.ModeSymlink == 0 {
		return fmt.Errorf("%s is in the way and no symbolic link; choose another name", s.o.Link)
	}
	return os.Remove(s.o.Link)
}

// play keeps the bench's time with the wall's, at the speed asked for.
func (s *server) play(ctx context.Context) error {
	period := time.Duration(float64(time.Second) / s.bench.sensor.p.RateHz / s.o.Speed)
	tick := time.NewTicker(period)
	defer tick.Stop()
	commands := s.o.Commands
	for {
		select {
		case <-ctx.Done():
			return nil
		case line, open := <-commands:
			if !open {
				commands = nil
				continue
			}
			s.obey(line)
		case <-tick.C:
			if err := s.step(); err != nil {
				return err
			}
		}
	}
}

func (s *server) obey(line string) {
	reply, err := s.control.Do(line)
	if err != nil {
		reply = err.Error()
	}
	if reply != "" {
		fmt.Fprintln(s.o.Say, reply)
	}
}

func (s *server) step() error {
	if s.o.FollowS > 0 && len(s.o.Stations) > 0 && s.bench.t >= s.nextS {
		station := s.o.Stations[s.follow%len(s.o.Stations)]
		s.follow++
		s.nextS = s.bench.t + s.o.FollowS
		s.bench.Move(station.At, min(2, s.o.FollowS/2), false)
		fmt.Fprintf(s.o.Say, "carrying the probe to %s\n", station.Name)
	}
	bytes := s.bench.Step()
	if s.port == nil || len(bytes) == 0 {
		return nil
	}
	return s.port.Send(bytes)
}
