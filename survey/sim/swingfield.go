package sim

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	angles "quietmount/magmath/heading"
	"quietmount/survey"
)

// Field returns the true field at the sensor in the craft frame, with the craft
// held so: the room's field at the datum, the craft's magnets, and its iron
// magnetised by the room's field as it lies in it now. The room's gradient
// does not matter to a craft that turns about one place.
func (f *Finished) Field(roomToCraft magmath.Mat3, t float64) r3.Vec {
	room := r3.Add(r3.Add(f.world.Room.Reference, f.world.Room.Offset), f.world.Room.Drift.At(t))
	ambient := roomToCraft.Apply(room)
	b := r3.Add(ambient, f.added)
	for _, m := range f.world.Magnets {
		b = r3.Add(b, m.Field(f.at))
	}
	for _, m := range f.world.Movers {
		b = r3.Add(b, m.Rest.Field(f.at))
	}
	for _, i := range f.world.Irons {
		b = r3.Add(b, i.Induced(ambient).Field(f.at))
	}
	for _, name := range slices.Sorted(maps.Keys(f.o.Level)) {
		b = r3.Add(b, f.world.LoadField(name, f.o.Level[name], f.at))
	}
	return b
}

// reading returns what the module sends now.
func (f *Finished) reading(t float64) survey.Sample {
	now := f.now(t)
	s := survey.Sample{TS: t, B: f.sensor.Read(f.mounted.Apply(f.Field(now, t)))}
	if f.sensor.p.Acc {
		up := f.mounted.Apply(now.Apply(r3.Vec{Z: -1}))
		s.Acc, s.Has = r3.Add(f.sensor.axes.Apply(up), r3.Scale(0.002, Normal3(f.rng))), survey.HasAcc
	}
	return s
}

// TrueDeviation returns the deviation in degrees that an ideal module without
// twist would show on a heading from the room's own north, with what a
// calibration takes out taken out.
func (f *Finished) TrueDeviation(headingDeg float64, removed r3.Vec) float64 {
	b := r3.Sub(f.Field(yaw(headingDeg+f.roomNorth()).Transpose(), 0), removed)
	compass, ok := angles.Compass(b, r3.Vec{})
	if !ok {
		return math.NaN()
	}
	return angles.Wrap180(headingDeg - compass)
}

// roomNorth returns the direction of the room's own field: a compass that finds
// mark 0 on this bench has no better.
func (f *Finished) roomNorth() float64 {
	room := r3.Add(f.world.Room.Reference, f.world.Room.Offset)
	return math.Atan2(room.Y, room.X) * 180 / math.Pi
}

// SteadyAtSensor returns the permanent part of the craft's field at the sensor,
// what a calibration of the finished craft takes for the offset of the
// module.
func (f *Finished) SteadyAtSensor() r3.Vec {
	var b r3.Vec
	for _, m := range f.world.Magnets {
		b = r3.Add(b, m.Field(f.at))
	}
	for _, m := range f.world.Movers {
		b = r3.Add(b, m.Rest.Field(f.at))
	}
	return b
}

// InCase returns a vector of the craft in the sensor's own axes, as mounted.
func (f *Finished) InCase(v r3.Vec) r3.Vec { return f.sensor.axes.Apply(f.mounted.Apply(v)) }

// Tumble turns the craft, or with away the loose module, so that the field
// enters from everywhere in the given seconds, along a spiral that keeps the
// same pace over the sphere, and gives the readings: the turning of a
// calibration. The clock of the link goes on meanwhile.
func (f *Finished) Tumble(seconds float64, away bool) []survey.Sample {
	var out []survey.Sample
	start := f.Now()
	for f.Now() < start+seconds {
		f.tick++
		t := f.Now()
		room := r3.Add(r3.Add(f.world.Room.Reference, f.world.Room.Offset), f.world.Room.Drift.At(t))
		held := spiral((t-start)/seconds, room)
		field := held.Apply(room)
		if !away {
			field = f.Field(held, t)
		}
		out = append(out, survey.Sample{TS: t, B: f.sensor.Read(f.mounted.Apply(field))})
	}
	return out
}

// spiral returns the rotation that turns the room's field to a part of the way from
// +z to -z, around the axis many times.
func spiral(part float64, room r3.Vec) magmath.Mat3 {
	const turns = 12
	align := magmath.Identity()
	if axis := r3.Cross(room, r3.Vec{Z: 1}); r3.Norm(axis) > 0 {
		align = rotation(r3.Scale(math.Acos(room.Z/r3.Norm(room))/r3.Norm(axis), axis))
	}
	tip := rotation(r3.Vec{Y: math.Acos(max(-1, 1-2*part))})
	return yaw(360 * turns * part).Mul(tip).Mul(align)
}
