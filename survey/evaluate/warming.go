package evaluate

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/magmath/source"
	"quietmount/survey"
)

// A magnet loses a part of its moment for every kelvin that it warms: 0.2 per cent is
// that of hard ferrite, which loses most; neodymium magnets lose 0.12 (makers' data
// sheets, from memory).
const lossPerK = 0.002

// warming is a magnet that warms while a load runs: its steady field weakens by up to
// a part of it.
type warming struct {
	magnet source.Fitted
	part   float64 // of its field, lost when warm
}

// warmedBy returns the magnets of a load, magnetic parts that the craft file binds to
// it, as they were found in the steady part.
func (f *Findings) warmedBy(load string) []warming {
	var out []warming
	if f.Map == nil || f.Map.SourceModels[survey.StateUnpowered] == nil {
		return nil
	}
	for _, s := range f.Map.SourceModels[survey.StateUnpowered].Found.Sources {
		for _, p := range f.Craft.Parts {
			if p.Magnetic && p.Load == load && p.Name == s.Name && s.Kind == source.KindDipole && p.WarmsK > 0 {
				out = append(out, warming{s, min(1, lossPerK*p.WarmsK)})
			}
		}
	}
	return out
}

// warmed adds to a load at p what its magnets lose by warming, anything from nothing
// to all of it being as likely. At a magnet the load stays as it is.
func warmed(on heading.Load, all []warming, p r3.Vec) heading.Load {
	for _, w := range all {
		b := w.magnet.Field(p)
		if !magmath.FiniteVec(b) || r3.Norm(b) > beyondUT {
			continue
		}
		on.Mean = r3.Add(on.Mean, r3.Scale(-w.part/2, b))
		sd := w.part / math.Sqrt(12) // of the uniform distribution
		on.Cov = on.Cov.Add(outerScaled(b, sd*sd))
	}
	return on
}
