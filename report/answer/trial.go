package answer

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/survey/whatif"
)

// Trial collects the changes of a what-if, each also in words. The zero value
// changes nothing.
type Trial struct {
	Changes whatif.Changes
	Words   []string
}

func (t *Trial) say(format string, args ...any) {
	t.Words = append(t.Words, fmt.Sprintf(format, args...))
}

// Without removes a part.
func (t *Trial) Without(part string) {
	t.Changes.Without = append(t.Changes.Without, part)
	t.say("without the %s", part)
}

// Move moves a part, or a lead by its first point, to a place.
func (t *Trial) Move(part string, to r3.Vec) {
	t.Changes.Moves = append(t.Changes.Moves, whatif.MovePart{Part: part, ToMM: to})
	t.say("the %s moved to %s", part, coordinates(to))
}

// Turn points the north pole of a part's magnet along an axis.
func (t *Trial) Turn(part string, along Axis) {
	t.Changes.Turns = append(t.Changes.Turns, whatif.TurnPart{Part: part, Along: along.Vec()})
	t.say("the %s turned with its north pole along %s", part, along)
}

// AddDisc adds a disc magnet whose north pole faces along an axis. The sizes are
// positive, mm. The error is that of an unknown grade.
func (t *Trial) AddDisc(diameterMM, thicknessMM float64, grade string, at r3.Vec, along Axis) error {
	br, tolerance, err := source.Grade(grade)
	if err != nil {
		return err
	}
	m := source.CylinderMoment(br, diameterMM, thicknessMM)
	t.Changes.AddMagnets = append(t.Changes.AddMagnets, whatif.AddMagnet{
		AtMM: at, MomentAm2: r3.Scale(m, along.Vec()), RelativeSD: tolerance / br,
	})
	t.say("a disc of %g x %g mm %s (%.3g A m2) at %s", diameterMM, thicknessMM, strings.ToUpper(grade), m, coordinates(at))
	return nil
}

// AddLead adds a lead along two places or more. An empty load means a new one that
// can be on together with all others.
func (t *Trial) AddLead(path []r3.Vec, currentA, gapMM float64, load string) {
	t.Changes.AddLeads = append(t.Changes.AddLeads, whatif.AddLead{PathMM: path, CurrentA: currentA, GapMM: gapMM, Load: load})
	ends := "nowhere" // refused by whatif.Predict
	if n := len(path); n > 0 {
		ends = fmt.Sprintf("%s to %s", coordinates(path[0]), coordinates(path[n-1]))
	}
	t.say("a lead of %g A, %g mm between its conductors, from %s", currentA, gapMM, ends)
}

// Cable gives the module a cable of another length, mm.
func (t *Trial) Cable(mm float64) {
	t.Changes.CableMM = &mm
	t.say("a cable of %g mm", mm)
}

// Height allows one more mounting height above the surface, mm.
func (t *Trial) Height(mm float64) {
	t.Changes.HeightsMM = append(t.Changes.HeightsMM, mm)
	t.say("mounting allowed %g mm above the surface too", mm)
}

func coordinates(p r3.Vec) string { return fmt.Sprintf("x %g, y %g, z %g mm", p.X, p.Y, p.Z) }

// Axis is a direction of the craft frame: x, -x, y, -y, z or -z.
type Axis string

// Axes returns all axes.
func Axes() []Axis { return []Axis{"x", "-x", "y", "-y", "z", "-z"} }

// Vec returns the unit vector of a; for a value that is not in Axes, that of z.
func (a Axis) Vec() r3.Vec {
	sign := 1.0
	letter, minus := strings.CutPrefix(string(a), "-")
	if minus {
		sign = -1
	}
	switch letter {
	case "x":
		return r3.Vec{X: sign}
	case "y":
		return r3.Vec{Y: sign}
	}
	return r3.Vec{Z: sign}
}
