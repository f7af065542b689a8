package sim

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/calib"
)

func console() *Control {
	return &Control{Bench: NewBench(plainWorld(), Probe{RateHz: 50}, Hand{}, BenchOptions{}), Stations: line(3)}
}

func TestControlObeys(t *testing.T) {
	c := console()
	do := func(line string) {
		t.Helper()
		if reply, err := c.Do(line); err != nil || (reply == "" && line != "") {
			t.Fatalf("%q: %q, %v", line, reply, err)
		}
	}
	do("")
	do("help")
	do("at b")
	c.Bench.run(3)
	near(t, "probe", c.Bench.at, r3.Vec{X: 60, Y: 30}, 1e-9)
	do("load motor on")
	if c.Bench.state.Levels["motor"] != 20 {
		t.Errorf("on is %v A, want the maximum", c.Bench.state.Levels["motor"])
	}
	do("load motor 2.5")
	do("load rudder on")
	if c.Bench.state.Levels["motor"] != 2.5 || c.Bench.state.Levels["rudder"] != 1 {
		t.Errorf("levels %v", c.Bench.state.Levels)
	}
	do("pulse motor 8 1 2")
	on := 0
	for range 300 {
		c.Bench.Step()
		if c.Bench.state.Levels["motor"] == 8 {
			on++
		}
	}
	if on < 98 || on > 102 {
		t.Errorf("on for %d of 300 readings, want 100", on)
	}
	do("off")
	if len(c.Bench.state.Levels) != 0 || c.Bench.pulse != nil {
		t.Error("not everything is off")
	}
	do("away")
	if !c.Bench.Away() {
		t.Error("the craft is still there")
	}
	do("here")
	do("nose 90")
	near(t, "turned", c.Bench.World.Ambient(r3.Vec{}), r3.Vec{Y: -18, Z: 45}, 1e-9)
}

// A calibration of a probe turned so finds the field of the room, whatever is
// on the craft beside it, and a probe without offset.
func TestTumbleShowsEveryDirection(t *testing.T) {
	c := console()
	if reply, err := c.Do("tumble 40"); err != nil || !strings.Contains(reply, "40 s") {
		t.Fatalf("%q, %v", reply, err)
	}
	before := c.Bench.pose
	var samples []calib.Sample
	for range 2000 {
		c.Bench.Step()
		samples = append(samples, calib.Sample{TS: c.Bench.Now(), B: c.Bench.reading().b})
	}
	o := calib.DefaultOptions()
	o.ReferenceUT = r3.Norm(c.Bench.World.Ambient(r3.Vec{}))
	r, err := calib.Calibrate(t.Context(), samples, o)
	if err != nil || !r.Accepted || r.SphereCovered < 0.8 || r3.Norm(r.OffsetUT) > 0.1 {
		t.Errorf("accepted %v, covered %.2f, offset %.2f: %v", r.Accepted, r.SphereCovered, r.OffsetUT, r.Refusals)
	}
	c.Bench.Step()
	if c.Bench.spin != nil || c.Bench.pose != before {
		t.Error("the probe does not rest as before")
	}
}

// The craft as a whole is held as an arrow check and a swing ask: the room's
// field comes from where the pose says, the magnets of the craft stay with it.
func TestHoldTurnsTheWholeCraft(t *testing.T) {
	c := console()
	do := func(line string) {
		t.Helper()
		if _, err := c.Do(line); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
	}
	do("at 60 -30")
	c.Bench.run(3)
	near(t, "probe", c.Bench.at, r3.Vec{X: 60, Y: -30}, 1e-9)
	own := r3.Sub(c.Bench.reading().b, r3.Vec{X: 18, Z: 45}) // of the craft, the nose to the north
	for stop, room := range map[string]r3.Vec{
		"north": {X: 18, Z: 45}, "Nose East": {Y: -18, Z: 45}, "180": {X: -18, Z: 45}, "-90": {Y: 18, Z: 45},
		"down": {X: 45, Z: -18}, "inverted": {X: 18, Z: -45},
	} {
		do("hold " + stop)
		c.Bench.run(5)
		near(t, stop, r3.Sub(c.Bench.reading().b, room), own, 1e-9)
	}
	do("tumble 20")
	low, high := r3.Vec{X: 1e9}, r3.Vec{X: -1e9}
	for range 1000 {
		c.Bench.Step()
		low.X, high.X = min(low.X, c.Bench.reading().b.X), max(high.X, c.Bench.reading().b.X)
	}
	if middle := (low.X + high.X) / 2; high.X-low.X < 90 || middle < own.X-2 || middle > own.X+2 {
		t.Errorf("the whole craft turned: %g to %g, want 48.5 either side of %g", low.X, high.X, own.X)
	}
	do("at B")
	c.Bench.run(3)
	if c.Bench.held != nil {
		t.Error("the probe is moved and the craft still held")
	}
}

func TestControlRefuses(t *testing.T) {
	for line, word := range map[string]string{
		"at Z9": "Z9", "at 1 2 3 4": "mm", "at NaN 2": "mm", "at 1 1e9": "mm", "hold": "north", "hold upwards": "inverted", "hold NaN": "degrees", "hold 400": "degrees", "at": "station", "load motor": "amperes", "load": "amperes", "load motor much": "much", "load sail on": "sail",
		"load motor NaN": "NaN", "pulse motor": "AMPS", "pulse motor 1 0 0": "more than 0", "nose up": "degrees", "nose NaN": "degrees",
		"tumble fast": "seconds", "tumble NaN": "seconds", "tumble 0": "seconds", "dance": "dance", "unplug": "plug", "load motor Inf": "Inf",
	} {
		c := console()
		_, err := c.Do(line)
		if err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%q: %v, want an error with %q", line, err, word)
		}
		if len(c.Bench.state.Levels) != 0 || c.Bench.pulse != nil {
			t.Errorf("%q changed something", line)
		}
	}
}

func FuzzControl(f *testing.F) {
	for _, s := range []string{"at B", "load motor 2.5", "pulse motor 8 1 2", "nose 90", "tumble 20", "unplug", "load motor NaN", "pulse 1 2 3 4 5", "at 60 -30", "hold inverted", "hold -90"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, line string) {
		c := console()
		reply, err := c.Do(line)
		if err != nil && reply != "" {
			t.Errorf("both a reply and an error: %q, %v", reply, err)
		}
		for range 3 {
			c.Bench.Step()
		}
		if b := c.Bench.reading().b; r3.Norm(b) > 2*unlimitedUT {
			t.Errorf("the probe reads %v", b)
		}
	})
}
