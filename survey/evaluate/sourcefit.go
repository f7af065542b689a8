package evaluate

import (
	"context"
	"math"
	"slices"

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

// withSourceMean returns the candidates of a map that are based on fitted sources, if
// any were found, with the others if those fit poorly; and those sources.
func (e *evaluation) withSourceMean(ctx context.Context, cs []fieldmap.Candidate, d magmath.Readings, load int) ([]fieldmap.Candidate, *SourceModel) {
	on := e.fitSources(ctx, d, load)
	if on == nil {
		return cs, nil
	}
	g := e.onSourceMean(d, on)
	if on.Found.Scale < poorFit {
		return g, on
	}
	return append(cs, g...), on
}

// fitSources fits sources to readings: named ones near their stated places, and
// others where the readings call for them; nil if none was found.
func (e *evaluation) fitSources(ctx context.Context, d magmath.Readings, load int) *SourceModel {
	magnets, leads, o := e.namedParts(load)
	few := d.Thin(sourceLimit)
	found, err := source.Find(ctx, few, magnets, leads, o)
	if err != nil || found.Elements() == 0 {
		return nil
	}
	return newSourceModel(found, few)
}

// onSourceMean returns candidates based on fitted sources: the mean is their field,
// their parameters vary about it under the priors of the fit, and a small smooth
// rest is allowed for.
func (e *evaluation) onSourceMean(d magmath.Readings, on *SourceModel) []fieldmap.Candidate {
	sourceMean := on.SourceMean()
	var out []fieldmap.Candidate
	for _, k := range restKernels(d, sourceMean, e.spacing, e.lowestZ()) {
		out = append(out, fieldmap.Candidate{Kernel: k, Spread: []float64{1.5, 0.5}, SourceMean: sourceMean})
	}
	return out
}

// restKernels returns covariances of what sources do not explain between the
// readings: a tenth of their residual at the readings, within a factor of about
// four (the spread of the candidates), since most of that residual is noise.
func restKernels(d magmath.Readings, sourceMean *fieldmap.SourceMean, spacing, lowest float64) []fieldmap.Kernel {
	sum := 0.0
	for i, p := range d.At {
		mean, _ := sourceMean.At(p)
		sum += r3.Norm2(r3.Sub(d.B[i], mean))
		lowest = max(lowest, p.Z)
	}
	sd := math.Log(max(0.005, 0.1*math.Sqrt(sum/float64(3*len(d.At)))))
	return []fieldmap.Kernel{
		fieldmap.Mirrored{SurfaceZMM: lowest, LogSD: sd, LogDepth: math.Log(0.7 * spacing)},
		fieldmap.Smooth{LogSD: sd, LogLength: math.Log(spacing)},
	}
}

// namedParts returns the parts that the craft file names as sources of the steady
// part or of a load, and the limits of the search for others.
func (e *evaluation) namedParts(load int) (magnets []source.Magnet, leads []source.NamedLead, o source.Options) {
	state := survey.StateUnpowered
	o.SpacingMM = e.spacing
	o.Under, o.DeckZMM = true, e.f.Craft.Body.SurfaceZMM
	for _, p := range e.f.Craft.Body.SurfacePoints {
		o.DeckZMM = min(o.DeckZMM, p.Z)
	}
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
		magnets = append(magnets, slices.DeleteFunc(slices.Clone(e.magnets), func(m source.Magnet) bool {
			return slices.ContainsFunc(magnets, func(own source.Magnet) bool { return own.Name != "" && own.Name == m.Name })
		})...)
		o.CurrentA, o.MostLeads = e.f.Craft.Loads[load].MaxCurrentA, 2-min(1, len(leads))
	}
	return magnets, leads, o
}

// Priors of the moment that a magnetic place has per load: a motor is a magnet whose
// field changes with its current. Common practice, no source.
const (
	shiftingShare  = 0.05 // of its permanent moment, at the maximum current
	leastShiftAm2  = 1e-4 // ampere square metres
	leastPlaceMM   = 1.0
	widestPlacesMM = 15.0 // places known worse than this are offered to no load
)

// magneticPlaces returns the places that are magnetic in the steady part, named or
// found, as magnets whose moment a load may change; on is what its map stands on,
// nil: nothing, and the places are those of the craft file.
func (e *evaluation) magneticPlaces(on *SourceModel) []source.Magnet {
	var out []source.Magnet
	if on == nil {
		for _, p := range e.f.Craft.Parts {
			if p.Magnetic && p.AtMM != nil {
				out = append(out, source.Magnet{Name: p.Name, AtMM: *p.AtMM, PlaceSDMM: partPlaceMM, MomentSD: shiftingShare * usualMomentAm2})
			}
		}
		return out
	}
	for _, s := range on.Found.Sources {
		if s.Kind != source.KindDipole {
			continue
		}
		if sd := math.Sqrt(s.AtCov.Trace() / 3); sd <= widestPlacesMM {
			out = append(out, source.Magnet{
				Name: s.Name, AtMM: s.AtMM, PlaceSDMM: max(leastPlaceMM, sd),
				MomentSD: max(leastShiftAm2, shiftingShare*r3.Norm(s.MomentAm2)),
			})
		}
	}
	return out
}

// NamedFor returns the parts to try first as sources of a state: the magnetic ones
// for the unpowered state; for a load its leads and the magnets that move with it.
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
