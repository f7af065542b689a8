package survey

import "gonum.org/v1/gonum/spatial/r3"

// Has says which optional parts of a Sample were sent.
type Has uint8

// The optional parts of a Sample.
const (
	HasAcc     Has = 1 << iota // Acc
	HasCurrent                 // CurrentA
	HasLoadOn                  // LoadOn
)

// Sample is one reading of the probe as it was sent: no calibration and no
// axes applied.
type Sample struct {
	TS       float64 // seconds from the start of the run or stream; never runs backwards
	B        r3.Vec  // microtesla, sensor axes
	Acc      r3.Vec  // g, accelerometer axes; meaningful with HasAcc
	CurrentA float64 // amperes, from telemetry; meaningful with HasCurrent
	LoadOn   bool    // a label sent with the sample; meaningful with HasLoadOn
	Has      Has
}
