package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/urfave/cli/v2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/link"
)

func runListen(c *cli.Context, sh shell) error {
	craft, err := listenCraft(c)
	if err != nil {
		return err
	}
	if s := c.Float64("for-s"); !(s >= 1 && s <= 3600) {
		return wrong("10 seconds show most", "--for-s %g: from 1 to 3600", s)
	}
	if n := c.Int("turns"); n < 0 || n > 4 {
		return wrong("four quarters make a whole turn", "--turns %d: from 1 to 4", n)
	}
	source, err := openSource(c, sh, craft)
	if err != nil {
		return err
	}
	defer source.Close()
	a, err := listenTo(c, sh, source, craft)
	if err != nil {
		return err
	}
	return show(c, sh, a, a.OK)
}

// listenCraft returns the craft of the folder on the command line; if none is
// given, a craft file is optional.
func listenCraft(c *cli.Context) (*survey.Craft, error) {
	dir, err := folder(c)
	if err != nil {
		return nil, err
	}
	craft, err := craftfile.Load(dir)
	if _, missing := errors.AsType[*craftfile.MissingError](err); missing && c.NArg() == 0 {
		return nil, nil
	}
	return craft, err
}

func listenTo(c *cli.Context, sh shell, source namedSource, craft *survey.Craft) (answer.Listen, error) {
	l := &listener{ctx: c.Context, sh: sh, source: source, replay: c.String("replay") != ""}
	if err := l.awaitSamples(); err != nil {
		return answer.Listen{}, err
	}
	say(sh.Err, "quietmount: listening for %g s; leave the probe still", c.Float64("for-s"))
	if err := l.take(c.Float64("for-s")); err != nil {
		return answer.Listen{}, err
	}
	monitor, _ := source.Source.(link.Monitor)
	in := answer.ListenInput{Name: source.name, Samples: l.samples, Remarks: l.remarks, Monitor: monitor, Craft: craft, Now: sh.Now()}
	if c.Bool("wiggle") {
		w, err := l.wiggle()
		if err != nil {
			return answer.Listen{}, err
		}
		in.Wiggle = &w
	}
	if craft != nil {
		poses, nose, err := l.poses(c)
		if err != nil {
			return answer.Listen{}, err
		}
		in.Poses, in.Nose = poses, nose
	}
	return answer.NewListen(in), nil
}

// listener takes stretches of samples from a link.
type listener struct {
	ctx     context.Context
	sh      shell
	source  namedSource
	replay  bool // the stream ends by itself
	samples []survey.Sample
	remarks []remark.Remark
	noText  bool // what came is no text: the speed is wrong
	ended   bool
}

// awaitSamples waits for the first reading and keeps it. If none comes at the
// usual speed, the error names another at which it would.
func (l *listener) awaitSamples() error {
	err := await(l.ctx, l.sh, namedSource{Source: tapped{l.source.Source, l.keep}, name: l.source.name})
	if err != nil && l.source.usualSpeed {
		return l.atAnotherSpeed(err, l.portSpeed)
	}
	return err
}

// tapped is a source that passes each item to keep as well.
type tapped struct {
	link.Source
	keep func(link.Item)
}

func (t tapped) Next(ctx context.Context) (link.Item, error) {
	item, err := t.Source.Next(ctx)
	if err == nil {
		t.keep(item)
	}
	return item, err
}

func (l *listener) keep(item link.Item) {
	if item.Kind == link.Reading {
		l.samples = append(l.samples, item.Sample)
		return
	}
	l.remarks = append(l.remarks, item.Says)
	l.noText = l.noText || item.Says.Code == "link.baud"
}

// take listens for some seconds of the clock, or of a recorded stream's time.
func (l *listener) take(seconds float64) error {
	ctx := l.ctx
	if !l.replay {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(l.ctx, time.Duration(seconds*float64(time.Second)))
		defer cancel()
	}
	for {
		item, err := l.source.Next(ctx)
		switch {
		case errors.Is(err, io.EOF):
			l.ended = true
			return nil
		case l.ctx.Err() != nil:
			return l.ctx.Err()
		case ctx.Err() != nil:
			return nil
		case err != nil:
			return err
		}
		l.keep(item)
		if item.Kind != link.Reading {
			say(l.sh.Err, "quietmount: %s", words.Terminal.Say(item.Says))
		}
		if l.replay && item.TS-l.samples[0].TS >= seconds && seconds < wholeStreamS {
			return nil
		}
	}
}

// wholeStreamS seconds or more read a recorded stream to its end.
const wholeStreamS = 3600

const wiggleS = 5

// wiggle prompts still and moving stretches and compares them.
func (l *listener) wiggle() (link.WiggleResult, error) {
	from := len(l.samples)
	var marks []link.Mark
	for _, part := range []struct {
		say    string
		moving bool
	}{
		{"hands off, leave everything still", false},
		{"now bend the probe's lead and lift its board about, but do not touch the probe", true},
		{"hands off again", false},
	} {
		say(l.sh.Err, "quietmount: %s (%d s)", part.say, wiggleS)
		at := 0.0
		if n := len(l.samples); n > 0 {
			at = l.samples[n-1].TS
		}
		marks = append(marks, link.Mark{TS: at, Moving: part.moving})
		if err := l.take(wiggleS); err != nil {
			return link.WiggleResult{}, err
		}
	}
	return link.Wiggle(l.samples[from:], marks)
}

// poses returns the mean fields in the requested level directions; the first is
// that of the readings just taken.
func (l *listener) poses(c *cli.Context) ([]link.Pose, link.NoseKnown, error) {
	nose := link.NoseUnknown
	switch {
	case c.IsSet("nose-deg"):
		nose = link.NoseMagnetic
	case c.Int("turns") > 1:
		nose = link.NoseRelative
	}
	from, first := 0, c.Float64("nose-deg")
	var poses []link.Pose
	for i := range max(1, c.Int("turns")) {
		if i > 0 {
			say(l.sh.Err, "quietmount: turn the nose a quarter clockwise, keep it level, then leave it still (8 s)")
			if err := l.take(5); err != nil {
				return nil, nose, err
			}
			from = len(l.samples)
			if err := l.take(3); err != nil {
				return nil, nose, err
			}
		}
		mean, err := meanField(l.ctx, l.samples[from:])
		if err != nil {
			return nil, nose, err
		}
		poses = append(poses, link.Pose{B: mean, NoseDeg: first + 90*float64(i)})
	}
	return poses, nose, nil
}

func meanField(ctx context.Context, samples []survey.Sample) (r3.Vec, error) {
	var s dwell.Series
	for _, x := range samples {
		s.TS, s.B = append(s.TS, x.TS), append(s.B, x.B)
	}
	e, err := dwell.Locate(ctx, s, dwell.Options{})
	if err != nil {
		return r3.Vec{}, fmt.Errorf("the readings of this direction: %w", err)
	}
	return e.Mean, nil
}

// portSpeed returns the speed at which a port sends text, in bits per second; 0 if
// it does at none of the common ones.
func (l *listener) portSpeed(ctx context.Context, port string) (int, error) {
	return link.ProbeBaud(ctx, link.PortOptions{Name: port, Open: l.sh.OpenPort}, 0)
}

// atAnotherSpeed looks for the speed at which the port sends text if it sends none
// at the usual speed, and adds the call to make to err.
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
