package sim

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/number"
)

// ControlHelp lists the commands of Control.Do.
const ControlHelp = `at STATION             carry the probe to a station
at X Y [Z]             or to a place on the craft, mm: the chosen spot
hold POSE              the craft as a whole, the probe on it: north, east, south, west, up, down, left, right, inverted
hold DEGREES           level, nose on that mark of a swing
load NAME on|off|AMPS  switch a load; on is its maximum current, or its other end
pulse NAME AMPS [ON OFF]  switch a load on and off by itself, 3 and 3 seconds
off                    everything off
tumble [SECONDS]       turn the probe through all directions, away from the craft; held, the whole craft
away, here             take the craft away, put it back
nose DEGREES           turn the bench
unplug, plug           pull the module's plug, put it back
help                   this list`

// Control turns typed commands into what happens on the bench.
type Control struct {
	Bench    *Bench
	Stations []survey.Station // the marks; the base station is known besides
	MoveS    float64          // time of a move; 0: 2 s
	Plug     func(in bool) error
}

// Do obeys one line and says what was done. An empty line does nothing. An
// unknown command, station or load is an error and changes nothing.
func (c *Control) Do(line string) (string, error) {
	word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
	rest = strings.TrimSpace(rest)
	switch strings.ToLower(word) {
	case "":
		return "", nil
	case "at":
		return c.at(rest)
	case "load":
		return c.load(rest)
	case "pulse":
		return c.pulse(rest)
	case "off":
		c.Bench.LoadsOff()
		return "everything off", nil
	case "away", "here":
		c.Bench.SetAway(word == "away")
		return "craft " + map[bool]string{true: "taken away", false: "in place"}[c.Bench.Away()], nil
	case "hold":
		if err := c.Bench.Hold(rest); err != nil {
			return "", err
		}
		return "holding the craft: " + rest, nil
	case "tumble":
		return c.tumble(rest)
	case "nose":
		return c.turn(rest)
	case "unplug", "plug":
		return c.plug(strings.ToLower(word) == "plug")
	case "help":
		return ControlHelp, nil
	}
	return "", fmt.Errorf("no command %q; type help for the list", word)
}

func (c *Control) at(name string) (string, error) {
	to, ok := c.find(name)
	if !ok {
		to, ok = c.place(name)
	}
	if !ok {
		return "", fmt.Errorf("no station %q on the simulated craft; a place is X Y or X Y Z in mm", name)
	}
	move := c.MoveS
	if move == 0 {
		move = 2
	}
	c.Bench.Move(to, move, false)
	return "carrying the probe to " + name, nil
}

// place reads X Y or X Y Z, apart by blanks or commas; without Z it is on the
// mounting surface.
func (c *Control) place(text string) (r3.Vec, bool) {
	words := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' })
	if len(words) != 2 && len(words) != 3 {
		return r3.Vec{}, false
	}
	var at [3]float64
	for i, w := range words {
		v, ok := number.Parse(w)
		if !ok || math.Abs(v) > farthestMM {
			return r3.Vec{}, false
		}
		at[i] = v
	}
	if len(words) == 2 {
		at[2] = c.Bench.World.Craft.SurfaceZ(at[0], at[1])
	}
	return r3.Vec{X: at[0], Y: at[1], Z: at[2]}, true
}

// farthestMM is farther than any bench is long.
const farthestMM = 10_000

func (c *Control) find(name string) (r3.Vec, bool) {
	if b := c.Bench.World.Craft.Base; b != nil && strings.EqualFold(b.Name, name) {
		return b.At, true
	}
	for _, s := range c.Stations {
		if strings.EqualFold(s.Name, name) {
			return s.At, true
		}
	}
	return r3.Vec{}, false
}

// load reads NAME on|off|AMPS; the name may hold blanks.
func (c *Control) load(rest string) (string, error) {
	i := strings.LastIndexByte(rest, ' ')
	if i < 0 {
		return "", fmt.Errorf("load what? write: load NAME on, off or amperes")
	}
	name, word := strings.TrimSpace(rest[:i]), rest[i+1:]
	level := 0.
	switch strings.ToLower(word) {
	case "off":
	case "on":
		level = c.full(name)
	default:
		v, err := strconv.ParseFloat(word, 64)
		if err != nil {
			return "", fmt.Errorf("load %s: %q is neither on, off nor a number of amperes", name, word)
		}
		level = v
	}
	if err := c.Bench.SetLoad(name, level); err != nil {
		return "", err
	}
	c.Bench.pulse = nil
	return fmt.Sprintf("%s at %g", name, level), nil
}

// full returns the level of the named load when it is full on.
func (c *Control) full(name string) float64 {
	l, _ := c.Bench.World.Craft.LoadByName(name)
	return most(l)
}

// pulse reads NAME AMPS [ON OFF].
func (c *Control) pulse(rest string) (string, error) {
	fields := strings.Fields(rest)
	var tail []float64
	for len(fields) > 1 && len(tail) < 3 {
		v, err := strconv.ParseFloat(fields[len(fields)-1], 64)
		if err != nil {
			break
		}
		tail = append([]float64{v}, tail...)
		fields = fields[:len(fields)-1]
	}
	if len(tail) == 1 {
		r := logbook.DefaultRhythm()
		tail = append(tail, r.OnS, r.OffS)
	}
	if len(fields) == 0 || len(tail) != 3 {
		return "", fmt.Errorf("pulse what? write: pulse NAME AMPS, or pulse NAME AMPS ON OFF with seconds")
	}
	name := strings.Join(fields, " ")
	if err := c.Bench.Pulse(name, tail[0], tail[1], tail[2]); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s pulsing at %g, %g s on, %g s off", name, tail[0], tail[1], tail[2]), nil
}

// usualTumbleS is how long a hand takes to turn a probe through all directions.
const usualTumbleS = 60

func (c *Control) tumble(rest string) (string, error) {
	seconds := float64(usualTumbleS)
	if rest != "" {
		v, err := strconv.ParseFloat(rest, 64)
		if err != nil || !(v >= 1 && v <= 3600) {
			return "", fmt.Errorf("tumble %q: give seconds, from 1 to 3600", rest)
		}
		seconds = v
	}
	c.Bench.Tumble(seconds)
	return fmt.Sprintf("turning the probe through all directions for %g s", seconds), nil
}

func (c *Control) turn(rest string) (string, error) {
	deg, err := strconv.ParseFloat(rest, 64)
	if err != nil || !(deg >= -360 && deg <= 360) {
		return "", fmt.Errorf("nose %q: give degrees from magnetic north, clockwise", rest)
	}
	c.Bench.SetNose(deg)
	return fmt.Sprintf("nose at %g degrees", deg), nil
}

func (c *Control) plug(in bool) (string, error) {
	if c.Plug == nil {
		return "", fmt.Errorf("there is no plug to pull here")
	}
	if err := c.Plug(in); err != nil {
		return "", err
	}
	return map[bool]string{true: "plugged in", false: "unplugged"}[in], nil
}
