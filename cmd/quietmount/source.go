package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/magmath/remark"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/link"
)

// namedSource is a link with its description for the run's header.
type namedSource struct {
	link.Source
	name       string
	usualSpeed bool // a port, and nobody said its speed
}

func (s namedSource) shape() string {
	m, ok := s.Source.(link.Monitor)
	if !ok {
		return ""
	}
	g, ok := m.Guess()
	if !ok {
		return ""
	}
	return "text, " + words.Terminal.Say(g.Remark())
}

func openSource(c *cli.Context, sh shell, craft *survey.Craft) (namedSource, error) {
	o, err := decodeOptions(c, sh, craft)
	if err != nil {
		return namedSource{}, err
	}
	if file := c.String("replay"); file != "" {
		return openReplay(file, o, sh)
	}
	s, err := openPort(c.Context, c.String("port"), c.Int("baud"), o, sh)
	s.usualSpeed = !c.IsSet("baud")
	return s, err
}

func decodeOptions(c *cli.Context, sh shell, craft *survey.Craft) (link.DecodeOptions, error) {
	o := link.DecodeOptions{Scale: c.Float64("scale")}
	if text := c.String("columns"); text != "" {
		columns, err := link.ParseColumns(text)
		if err != nil {
			return o, wrong("e.g. --columns t,x,y,z", "--columns: %v", err)
		}
		o.Columns = columns
	}
	if c.IsSet("sensor") {
		o.Sensor = new(c.Int("sensor"))
	}
	if c.String("replay") != "" {
		o.RateHz, o.KeepFirst = c.Float64("rate-hz"), true
	}
	if craft != nil {
		o.ReferenceUT = craft.Site.Field(sh.Now()).F / 1000
	}
	if err := o.Validate(); err != nil {
		return o, wrong("see: quietmount listen --help", "%v", err)
	}
	return o, nil
}

func openReplay(file string, o link.DecodeOptions, sh shell) (namedSource, error) {
	var r io.Reader = sh.In
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return namedSource{}, err
		}
		r = f
	}
	s, err := link.OpenReplay(r, file, link.ReplayOptions{Decode: o})
	return namedSource{Source: s, name: "replay of " + file}, err
}

func openPort(ctx context.Context, name string, baud int, o link.DecodeOptions, sh shell) (namedSource, error) {
	if name == "" {
		only, err := onlyPort()
		if err != nil {
			return namedSource{}, err
		}
		name = only
		say(sh.Err, "quietmount: using %s", name)
	}
	s, err := link.Open(ctx, link.PortOptions{Name: name, Baud: baud, Now: sh.Now, Decode: o, Open: sh.OpenPort})
	return namedSource{Source: s, name: name}, err
}

// onlyPort returns the USB port if there is exactly one.
func onlyPort() (string, error) {
	ports, err := link.Ports()
	if err != nil {
		return "", err
	}
	var usb []string
	for _, p := range ports {
		if p.USB {
			usb = append(usb, p.Name)
		}
	}
	switch len(usb) {
	case 1:
		return usb[0], nil
	case 0:
		return "", wrong("plug the board in, or name a port; quietmount demo --serve offers a simulated one",
			"which port? no board was found on USB and --port is missing")
	}
	return "", wrong("e.g. --port "+usb[0], "which port? there are boards on %s", strings.Join(usb, ", "))
}

// firstReading is the longest wait for a board to restart and its format to be
// decided.
const firstReading = 15 * time.Second

// await waits for the first reading, so that a run begins only with a module whose
// lines are decoded; it shows the link's remarks meanwhile.
func await(ctx context.Context, sh shell, s namedSource) error {
	waiting, cancel := context.WithTimeout(ctx, firstReading)
	defer cancel()
	var last remark.Remark
	for {
		item, err := s.Next(waiting)
		switch {
		case err == nil && item.Kind == link.Reading:
			return nil
		case err == nil:
			if !alike(item.Says, last) {
				say(sh.Err, "quietmount: %s", words.Terminal.Say(item.Says))
			}
			last = item.Says
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, io.EOF), waiting.Err() != nil:
			said := "nothing came from it"
			if !last.IsZero() {
				said = words.Terminal.Say(last)
			}
			return withHint(fmt.Errorf("%s: no reading: %s", s.name, said),
				"see what it sends: quietmount listen; then --baud, --columns or --scale")
		default:
			return err
		}
	}
}

// alike reports whether two remarks of a link differ only in numbers.
func alike(a, b remark.Remark) bool {
	said, _ := a.Values["why"].([]remark.Remark)
	before, _ := b.Values["why"].([]remark.Remark)
	return a.Code == b.Code && slices.EqualFunc(said, before, func(p, q remark.Remark) bool { return p.Code == q.Code })
}
