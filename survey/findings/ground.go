package findings

import (
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
// found, and the others besides where those fit poorly.
func (e *evaluation) withGrounded(cs []fieldmap.Candidate, d magmath.Readings, load int) []fieldmap.Candidate {
	g, scale := e.grounded(d, load)
	switch {
	case len(g) == 0:
		return cs
	case scale < poorFit:
		return g
	}
	return append(cs, g...)
}

// grounded are candidates that stand on sources fitted to the same readings,
// named ones near their stated places and others where the readings call for
// them: their field is taken for known, their parameters are free about it
// under the same priors as in the fit, and a small smooth rest is allowed for.
// None where no source was found. The second value is how much worse than the
// noise the sources fit.
func (e *evaluation) grounded(d magmath.Readings, load int) ([]fieldmap.Candidate, float64) {
	magnets, leads, o := e.stated(load)
	all := d
	d = d.Thin(sourceLimit)
	found, err := source.Find(d, magnets, leads, o)
	if err != nil || len(found.Sources) == 0 {
		return nil, 1
	}
	departure, sd := found.Prior()
	ground := func(p r3.Vec) r3.Vec {
		b, slopes := found.Linear(p)
		for i, s := range slopes {
			b = r3.Add(b, r3.Scale(departure[i], s))
		}
		return b
	}
	fields := func(p r3.Vec) []r3.Vec {
		_, slopes := found.Linear(p)
		out := make([]r3.Vec, len(sd))
		for i, s := range slopes {
			out[i] = r3.Scale(sd[i], s)
		}
		return out
	}
	sources := []fieldmap.Source{{Name: "fitted sources", Fields: fields, Fixed: true}}
	var out []fieldmap.Candidate
	for _, k := range restKernels(all, ground, e.spacing, e.lowestZ()) {
		out = append(out, fieldmap.Candidate{Kernel: k, Spread: []float64{1.5, 0.5}, Sources: sources, Ground: ground})
	}
	return out, found.Scale
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
	magnets, leads = e.f.namedFor(state)
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
