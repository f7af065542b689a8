// Package balance computes the mass and centre of gravity of a craft, with or
// without the module, and what restores its balance.
//
// In comes the craft and the place of the module; out goes a Finding. The
// computation is in magmath/balance; this package takes the masses, limits and
// the sliding part from the craft file. Start reading at Of.
package balance

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/balance"
	"quietmount/magmath/remark"
	"quietmount/survey"
)

// ErrNoMasses is returned for a craft file without masses.
var ErrNoMasses = errors.New("no masses are described: nothing can be balanced")

// Finding is the balance of a craft, craft frame, mm and g.
type Finding struct {
	Centre   balance.Centre // with the module if ModuleMM is set
	Bare     balance.Centre // without the module
	ModuleMM *r3.Vec        // the surface under the module's foot; nil: not counted
	Limits   balance.Limits
	Limited  bool // the craft file states a range
	OK       bool
	Battery  string // the part that can slide; empty: none
	SlideMM  [2]float64
	Remedy   balance.Remedy
	Notes    []remark.Remark
}

// Of returns the balance of a craft with the module's foot at a place, or without
// the module if module is nil. The errors are ErrNoMasses and, wrapped, those of
// masses that are no numbers.
func Of(c *survey.Craft, module *r3.Vec) (*Finding, error) {
	b := &Finding{Limits: balance.Limits{X: balance.Anywhere(), Y: balance.Anywhere()}}
	all := Masses(c)
	if len(all) == 0 {
		return nil, ErrNoMasses
	}
	var err error
	if b.Bare, err = balance.Of(all...); err != nil {
		return nil, fmt.Errorf("balance: %w", err)
	}
	b.Centre = b.Bare
	if module != nil {
		b.ModuleMM = module
		b.Centre = b.Centre.With(balance.Mass{Name: c.Module.Name, G: c.Module.MassG, AtMM: *module})
		if !(c.Module.MassG > 0) {
			b.Notes = append(b.Notes, remark.New("balance.module_mass"))
		}
	}
	if c.Balance != nil {
		b.Limits.X = balance.Range{Low: c.Balance.CGXMM[0], High: c.Balance.CGXMM[1]}
		b.Limits.Y = balance.Range{Low: c.Balance.CGYMM[0], High: c.Balance.CGYMM[1]}
		b.Limited = b.Limits != balance.Limits{X: balance.Anywhere(), Y: balance.Anywhere()}
	}
	if !b.Limited {
		b.Notes = append(b.Notes, remark.New("balance.no_range"))
	}
	slide := b.slider(c)
	b.Remedy = balance.Restore(b.Centre, b.Limits, slide, c.Body.OutlineMM.Reach)
	b.OK = !b.Remedy.Needed
	for _, p := range c.Parts {
		if p.MassG == 0 && p.SlideMM != nil {
			b.Notes = append(b.Notes, remark.New("balance.slider_mass").At(remark.Place{Part: p.Name}))
		}
	}
	return b, nil
}

// Masses returns the parts with a mass. That of a lead acts at the centre of its
// path.
func Masses(c *survey.Craft) []balance.Mass {
	var out []balance.Mass
	for _, p := range c.Parts {
		switch {
		case !(p.MassG > 0):
		case p.AtMM != nil:
			out = append(out, balance.Mass{Name: p.Name, G: p.MassG, AtMM: *p.AtMM})
		case len(p.PathMM) > 0:
			out = append(out, balance.Mass{Name: p.Name, G: p.MassG, AtMM: middleOf(p.PathMM)})
		}
	}
	return out
}

// middleOf returns the centroid of a path.
func middleOf(path []r3.Vec) r3.Vec {
	var sum r3.Vec
	length := 0.0
	for i := 1; i < len(path); i++ {
		d := r3.Norm(r3.Sub(path[i], path[i-1]))
		sum = r3.Add(sum, r3.Scale(d/2, r3.Add(path[i], path[i-1])))
		length += d
	}
	if length == 0 {
		return path[0]
	}
	return r3.Scale(1/length, sum)
}

// slider returns the heaviest part that can slide, or nil.
func (b *Finding) slider(c *survey.Craft) *balance.Slider {
	var best *balance.Slider
	for _, p := range c.Parts {
		if p.SlideMM == nil || p.AtMM == nil || !(p.MassG > 0) || best != nil && p.MassG <= best.G {
			continue
		}
		best = &balance.Slider{
			Mass:    balance.Mass{Name: p.Name, G: p.MassG, AtMM: *p.AtMM},
			RangeMM: balance.Range{Low: p.SlideMM[0], High: p.SlideMM[1]},
		}
		b.Battery, b.SlideMM = p.Name, *p.SlideMM
	}
	return best
}
