package swing

import (
	"fmt"
)

// CauseKind sorts what may go wrong in a swing.
type CauseKind string

// The causes.
const (
	CauseNone      CauseKind = ""
	CauseHalfTurn  CauseKind = "half turn" // a heading wrong by 180 degrees
	CauseHeading   CauseKind = "heading"   // a heading wrong by something else
	CauseExchanged CauseKind = "exchanged" // two headings in the wrong order
	CauseReversed  CauseKind = "reversed"  // all headings the other way round
	CauseTurntable CauseKind = "turntable" // the reference moved during the swing
	CauseMagnet    CauseKind = "magnet"    // a magnet moved during the swing
	CauseUnclear   CauseKind = "unclear"   // they do not fit and no one slip explains it
)

// Cause is the likeliest reason for headings that do not fit one curve.
type Cause struct {
	Kind  CauseKind
	First int       // index of the heading, or of the first after the change
	Other int       // CauseExchanged: the other heading
	ByDeg float64   // CauseHeading, CauseTurntable: how far
	Names []float64 // magnetic headings of First and Other as given

	Surely float64 // by how much it beats an honest swing, chi square less penalties
}

// leftOut are the headings that the fit does without.
func (c Cause) leftOut() []int {
	if c.Kind == CauseHalfTurn || c.Kind == CauseHeading {
		return []int{c.First}
	}
	return nil
}

// String says it in words.
func (c Cause) String() string {
	name := func(i int) string { return fmt.Sprintf("%03.0f", c.Names[i]) }
	switch c.Kind {
	case CauseHalfTurn:
		return "heading " + name(0) + " is wrong by 180 degrees: the nose pointed the other way, or the opposite heading was noted; it was left out, take it again"
	case CauseHeading:
		return fmt.Sprintf("heading %s does not fit the others: it is off by %+.0f degrees; it was left out, take it again", name(0), c.ByDeg)
	case CauseExchanged:
		return "headings " + name(0) + " and " + name(1) + " seem to have been exchanged: note them the other way round, or take both again"
	case CauseReversed:
		return "the headings run the wrong way round: the craft was turned to the left while the headings were counted to the right, or the sensor's axes are mirrored (the arrow check tells)"
	case CauseTurntable:
		return fmt.Sprintf("from heading %s on everything is turned by %+.0f degrees: the turntable or the reference moved; fix it and swing again", name(0), c.ByDeg)
	case CauseMagnet:
		return "from heading " + name(0) + " on the craft's own field is another: a magnet or a piece of iron moved during the swing; find it and swing again"
	case CauseUnclear:
		return "the headings do not fit one curve, and no single slip explains it: swing again, the craft level, iron and tools away"
	}
	return ""
}

// When a cause is named; by simulation, see the tests.
const (
	causeEvidence  = 10.0 // how much better than an honest swing
	mostSearched   = 72   // headings, more make the search long
	halfTurnWithin = 35.0 // degrees about 180
)
