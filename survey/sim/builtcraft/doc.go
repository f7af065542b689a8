// Package builtcraft is a second generator of invented craft, for the tests of what is
// promised from a survey. It shares no forward model with the tool: of this module it
// imports packages survey and logbook only, for the description of a craft and for the
// runs. No program uses it.
//
// A builder describes his craft with straight leads, nominal gaps and places measured to
// 2 mm. The craft of this package are built as hands build: magnets are solid discs and
// blocks; the conductors of a lead sag, lie unevenly beside each other or are twisted,
// and fan out at both ends; screws, motor bells, servo cases and packs are steel that is
// magnetised for good and by the ambient field; the moment of a motor changes with its
// current in a direction of its own. All fields are sums over many point dipoles and
// many short pieces of conductor (field.go).
//
// FROZEN: the draws, the bodies and the hand of this package stay as they are, so that
// estimators are judged on craft which nobody fitted them to. A test pins numbers of
// several seeds. Seeds 1 to 999 serve to design with; evidence takes others.
//
// Frames and units: the craft frame (x forward, y right, z down, millimetres from the
// datum), fields in microtesla, moments in ampere square metres, currents in amperes,
// time in seconds on the clock of the room, angles in degrees. A place p of a field is
// that of the sensor; [Built.Sensor] gives it for the foot of a module.
//
// Start at [New]. [Built.Steady] and [Built.Load] are the true fields;
// [Built.ErrorAsMounted], [Built.T] and [Built.Best] the true errors; [Built.Surveys],
// [Built.Proof] and [Built.Resurvey] make runs; faults.go spoils them.
package builtcraft
