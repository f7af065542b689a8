package sim

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/arrow"
	"quietmount/survey/number"
)

// Hold takes the craft as a whole, the probe where it stands on it, and turns
// it to a stop of an arrow check or a swing: a pose by its name, or a mark in
// degrees, magnetic, level. It stays so until the probe is moved or the bench
// is turned. What is no stop is an error and changes nothing.
func (b *Bench) Hold(stop string) error {
	stop, mark, err := heldStop(stop)
	if err != nil {
		return err
	}
	if b.ride != nil { // set down first
		b.at, b.pose, b.ride = b.ride.to, b.ride.pose, nil
	}
	if b.held == nil {
		lies := yaw(b.nose).Transpose()
		b.held = &Finished{world: b.World, sensor: b.sensor, rng: b.rng, from: lies, to: lies}
		b.held.at, b.held.mounted = b.module.SensorAt(b.at, 0), b.pose.Turn
	}
	b.state.Away = false
	b.held.o = FinishedOptions{PoseDeg: b.Hand.TiltDeg, Turntable: mark, MoveS: heldMoveS, Level: b.state.Levels}
	if mark {
		b.held.o.PoseDeg = b.Hand.TiltDeg / 3 // a mark is met better than a pose in the air
	}
	b.held.tick = b.tick
	b.held.move(b.held.attitude(stop))
	return nil
}

// heldMoveS is how long the craft takes from one stop to the next, seconds.
const heldMoveS = 2

// heldStop reads the name of a stop, and whether it is a mark.
func heldStop(text string) (stop string, mark bool, err error) {
	stop = strings.TrimSpace(strings.TrimPrefix(strings.ToLower(strings.TrimSpace(text)), "nose "))
	if _, ok := arrow.PoseName(stop).In(r3.Vec{X: 1}); ok {
		return stop, false, nil
	}
	if deg, ok := number.Parse(stop); !ok || math.Abs(deg) > 360 {
		return "", false, fmt.Errorf("hold %q: north, east, south, west, up, down, left, right, inverted, or a mark in degrees", text)
	}
	return stop, true, nil
}

// heldReading returns what the sensor says now that the craft is held. While it is
// turned through all directions it is the whole craft that turns.
func (b *Bench) heldReading() reading {
	now := b.held.now(b.t)
	if b.spin != nil {
		now = b.spin.turned(b.t).Turn.Mul(b.held.to)
		if b.t >= b.spin.tillS {
			b.spin = nil
		}
	}
	return b.load(reading{
		b:   b.sensor.Read(b.held.mounted.Apply(b.held.Field(now, b.t))),
		acc: b.sensor.Gravity(Pose{Turn: b.held.mounted.Mul(now)}),
	})
}
