package rank

import (
	"context"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/siting"
	"quietmount/survey/evaluate"
)

// Mountable tells where the module may be mounted at one height.
type Mountable struct {
	limits   []siting.Constraint
	heightMM float64
}

// NewMountable prepares for the constraints of a craft at a height above its
// surface, mm: those that Rank applies, but for the limits of the errors.
func NewMountable(ctx context.Context, f *evaluate.Findings, heightMM float64) *Mountable {
	return &Mountable{newRanker(ctx, f, Options{}.withDefaults()).constraints(), heightMM}
}

// Forbids reports whether a constraint of a kind forbids a place, x and y of the middle
// of the module's foot in the craft frame, mm. The kinds are those of the constants here
// and of [survey.ObstacleKind].
func (m *Mountable) Forbids(kind string, at r2.Vec) bool {
	return slices.ContainsFunc(m.limits, func(c siting.Constraint) bool {
		return c.Name.Kind == kind && !c.Allows(siting.Place{At: at, HeightMM: m.heightMM})
	})
}
