package evaluate

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/room"
	"quietmount/magmath/source"
	"quietmount/survey"
)

// partPlaceMM is how well a builder writes down where a part lies, a
// coordinate. Common practice, no source.
const partPlaceMM = 3

// poorFit is the factor by which sources may fit worse than the noise and
// still be taken for the better account of the readings without a contest.
const poorFit = 1.5

// sourceLimit is the number of stations beyond which sources are sought from
// an even choice of that many; all stations then enter the map.
const sourceLimit = 150

// withGrounded are the candidates that stand on fitted sources where any were
// found, and the others besides where those fit poorly; and those sources.
func (e *evaluation) withGrounded(ctx context.Context, cs []fieldmap.Candidate, d magmath.Readings, load int) ([]fieldmap.Candidate, *SourceModel) {
	on := e.standing(ctx, d, load)
	if on == nil {
		return cs, nil
	}
	g := e.grounded(d, on)
	if on.Found.Scale < poorFit {
		return g, on
	}
	return append(cs, g...), on
}

// standing are sources fitted to readings, named ones near their stated places
// and others where the readings call for them; nil where none was found.
func (e *evaluation) standing(ctx context.Context, d magmath.Readings, load int) *SourceModel {
	magnets, leads, o := e.stated(load)
	few := d.Thin(sourceLimit)
	found, err := source.Find(ctx, few, magnets, leads, o)
	if err != nil || len(found.Sources) == 0 {
		return nil
	}
	on := &SourceModel{Found: found, Readings: few}
	on.departure, on.sd = found.Prior()
	return on
}

// grounded are candidates that stand on fitted sources: their field is taken
// for known, their parameters are free about it under the same priors as in
// the fit, and a small smooth rest is allowed for.
func (e *evaluation) grounded(d magmath.Readings, on *SourceModel) []fieldmap.Candidate {
	sources := []fieldmap.Source{{Name: "fitted sources", Fields: on.Fields, Fixed: true}}
	var out []fieldmap.Candidate
	for _, k := range restKernels(d, on.Ground, e.spacing, e.lowestZ()) {
		out = append(out, fieldmap.Candidate{Kernel: k, Spread: []float64{1.5, 0.5}, Sources: sources, Ground: on.Ground})
	}
	return out
}

// restKernels are covariances of what sources leave between the readings: a
// tenth of what they leave of the readings, within a factor of four or so (the
// spread of the candidates), since most of that is noise.
func restKernels(d magmath.Readings, ground func(r3.Vec) r3.Vec, spacing, lowest float64) []fieldmap.Kernel {
	sum := 0.0
	for i, p := range d.At {
		sum += r3.Norm2(r3.Sub(d.B[i], ground(p)))
		lowest = max(lowest, p.Z)
	}
	sd := math.Log(max(0.005, 0.1*math.Sqrt(sum/float64(3*len(d.At)))))
	return []fieldmap.Kernel{
		fieldmap.Mirrored{SurfaceZMM: lowest, LogSD: sd, LogDepth: math.Log(0.7 * spacing)},
		fieldmap.Smooth{LogSD: sd, LogLength: math.Log(spacing)},
	}
}

// stated are the parts that the craft file names behind the steady part or a
// load, and how far the search for others may go.
func (e *evaluation) stated(load int) (magnets []source.Magnet, leads []source.NamedLead, o source.Options) {
	state := survey.StateUnpowered
	o.SpacingMM = e.spacing
	if load != room.NoLoad {
		state = e.f.Craft.Loads[load].Name
	}
	magnets, leads = e.f.NamedFor(state)
	for i := range magnets {
		magnets[i].PlaceSDMM = partPlaceMM
	}
	for i := range leads {
		leads[i].PlaceSDMM = partPlaceMM
	}
	if load != room.NoLoad && e.f.Craft.Loads[load].Kind == survey.LoadCurrent {
		o.CurrentA, o.MostLeads = e.f.Craft.Loads[load].MaxCurrentA, 2-min(1, len(leads))
	}
	return magnets, leads, o
}

// NamedFor are the parts to try first: for the steady part the magnetic ones,
// for a load its leads and what is said to move with it.
func (f *Findings) NamedFor(state string) (magnets []source.Magnet, leads []source.NamedLead) {
	load, isLoad := f.Craft.LoadByName(state)
	for _, p := range f.Craft.Parts {
		switch {
		case !isLoad && p.Magnetic && p.AtMM != nil,
			isLoad && p.AtMM != nil && (p.Load == state || p.Name == state && (p.Magnetic || load.Kind == survey.LoadMoving)):
			magnets = append(magnets, source.Magnet{Name: p.Name, AtMM: *p.AtMM})
		case isLoad && p.Load == state && len(p.PathMM) > 1:
			leads = append(leads, source.NamedLead{Name: p.Name, PathMM: p.PathMM, ReturnMM: p.ReturnPathMM, GapMM: p.GapMM, CurrentA: load.MaxCurrentA})
		}
	}
	return magnets, leads
}
