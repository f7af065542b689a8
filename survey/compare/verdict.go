package compare

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	resurvey "quietmount/magmath/change"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/remark"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
	"quietmount/survey/sources"
)

// ChangeSource is a dipole that explains part of the change: a new magnet, one
// that is gone, or one end of a move.
type ChangeSource struct {
	source.Fitted
	Nearest sources.Nearest
}

// mostNewSources bounds the dipoles that are fitted to a change.
const mostNewSources = 3

// findSources fits dipoles to the differences without their common part. A change
// that no dipole explains has no source.
func (c *Comparison) findSources(ctx context.Context, d resurvey.Data) {
	if !c.Result.Changed || len(d.Diff) < 3 {
		return
	}
	left, cov := c.Result.Left(d.Before)
	r := magmath.Readings{B: left, Noise: cov}
	for _, s := range c.Stations {
		r.At = append(r.At, s.Sensor)
	}
	found, err := source.Find(ctx, r, nil, nil, source.Options{SpacingMM: c.Before.SpacingMM(), Most: mostNewSources})
	if err != nil {
		c.Notes = append(c.Notes, remark.New("compare.no_source", remark.Values{"error": err.Error()}))
		return
	}
	for _, s := range found.Sources {
		if s.Kind == source.KindDipole {
			c.Sources = append(c.Sources, ChangeSource{s, sources.NearestPart(c.After, s.AtMM, "")})
		}
	}
}

// Verdict is what the change means for a spot.
type Verdict struct {
	Place         rank.Mount
	Before, After rank.Spot
	Stands        bool // it keeps the limits after the change
	Stood         bool // it kept them before
	Why           remark.Remark
}

// judge scores a mounting before and after. What was not measured again counts as
// it was before.
func (c *Comparison) judge(ctx context.Context, at *rank.Mount) {
	if c.Before.Map == nil {
		c.Notes = append(c.Notes, remark.New("compare.nothing_before"))
		return
	}
	if at == nil {
		r, err := rank.Rank(ctx, c.Before, rank.Options{Most: 1, Next: -1})
		if err != nil || len(r.Spots) == 0 {
			c.Notes = append(c.Notes, remark.New("compare.no_spot"))
			return
		}
		at = &rank.Mount{At: r.Spots[0].At, HeightMM: r.Spots[0].HeightMM}
		c.Notes = append(c.Notes, remark.New("compare.first_spot"))
	}
	v := &Verdict{Place: *at, Before: described(ctx, c.Before, *at)}
	v.After = described(ctx, c.merged(), *at)
	v.Stood, _ = underLimits(v.Before, c.Before)
	v.Stands, v.Why = underLimits(v.After, c.After)
	c.Verdict = v
}

// described returns all that is known of a mounting, or what the map promises of it
// if the craft no longer has the place.
func described(ctx context.Context, f *evaluate.Findings, at rank.Mount) rank.Spot {
	if s, _, err := rank.SpotAt(ctx, f, at.Foot()); err == nil {
		return *s
	}
	return rank.PredictAt(ctx, f, at)
}

// merged returns the findings after, completed by the parts that only the survey
// before measured.
func (c *Comparison) merged() *evaluate.Findings {
	out := *c.After
	m := evaluate.Map{}
	if c.After.Map != nil {
		m = *c.After.Map
	}
	loads, models := map[string]evaluate.Field{}, map[string]*evaluate.SourceModel{}
	maps.Copy(loads, m.Loads)
	maps.Copy(models, m.SourceModels)
	m.Loads, m.SourceModels = loads, models
	if m.Steady == nil && c.Before.Map.Steady != nil {
		m.Steady = c.Before.Map.Steady
		m.SourceModels[survey.StateUnpowered] = c.Before.Map.SourceModels[survey.StateUnpowered]
		c.Notes = append(c.Notes, remark.New("compare.steady_of_before"))
	}
	for _, l := range c.Before.Craft.Loads {
		f := c.Before.Map.Loads[l.Name]
		if f == nil || m.Loads[l.Name] != nil {
			continue
		}
		m.Loads[l.Name], m.SourceModels[l.Name] = f, c.Before.Map.SourceModels[l.Name]
		c.Notes = append(c.Notes, remark.New("compare.load_of_before").At(remark.Place{Load: l.Name}))
	}
	out.Map = &m
	out.Loads = c.loads()
	return &out
}

// loads returns the loads after, or that before of a load not measured again.
func (c *Comparison) loads() []evaluate.LoadFinding {
	var out []evaluate.LoadFinding
	for i, l := range c.After.Loads {
		if !l.Measured && i < len(c.Before.Loads) {
			l = c.Before.Loads[i]
		}
		out = append(out, l)
	}
	return out
}

// underLimits reports whether a spot's upper bounds, as mounted, are under the limits
// and the hand can hit it, and what decides.
func underLimits(s rank.Spot, f *evaluate.Findings) (bool, remark.Remark) {
	limits := f.Craft.Limits
	shifting := remark.Values{"up_to_deg": s.Shifting.Upper95, "budget_deg": limits.HeadingErrorDeg}
	steady := remark.Values{"up_to_ut": s.SteadyUT.Upper95, "limit_ut": limits.SteadyUT}
	tolerance := remark.Values{"tolerance_mm": s.PlacementToleranceMM, "slip_mm": limits.SlipMM}
	known := !math.IsNaN(s.Shifting.Upper95)
	switch {
	case known && !s.WithinBudget && s.Shifting.Upper95 <= limits.HeadingErrorDeg:
		return false, remark.New("compare.tolerance", tolerance)
	case known && !s.WithinBudget:
		return false, remark.New("compare.over_budget", shifting)
	case !s.WithinSteady:
		return false, remark.New("compare.over_steady", steady)
	case !known:
		return true, remark.New("compare.under_steady", steady)
	}
	return true, remark.New("compare.within_budget", shifting)
}

// FieldChange returns the compared field at places of the sensor before and after,
// microtesla, the common part removed from the latter, and the standard
// uncertainty of a component of the difference, root mean square. It returns nil
// if either survey has no map. The error is that of ctx.
func (c *Comparison) FieldChange(ctx context.Context, points []r3.Vec) (before, after []r3.Vec, sd []float64, err error) {
	b, a := c.field(c.Before), c.field(c.After)
	if b == nil || a == nil {
		return nil, nil, nil, nil
	}
	for some := range slices.Chunk(points, predictedAtOnce) {
		if err := ctx.Err(); err != nil {
			return nil, nil, nil, fmt.Errorf("predict a change: %w", err)
		}
		was, covB := fieldmap.Predict(b, some)
		is, covA := fieldmap.Predict(a, some)
		for i, v := range was {
			before, after = append(before, v), append(after, r3.Sub(is[i], c.Result.Common.At(v)))
			sd = append(sd, math.Sqrt(max(0, covB[i].Add(covA[i]).Trace())/3))
		}
	}
	return before, after, sd, nil
}

// predictedAtOnce is how many places are predicted between two looks at a context.
const predictedAtOnce = 256

func (c *Comparison) field(f *evaluate.Findings) evaluate.Field {
	switch {
	case f.Map == nil:
		return nil
	case c.Part == PartSteady:
		return f.Map.Steady
	}
	return f.Map.Loads[c.Part]
}
