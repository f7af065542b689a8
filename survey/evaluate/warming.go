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
	field     func(p r3.Vec) r3.Vec // of the magnet, microtesla
	part      float64               // of its field, lost when warm
	eitherWay bool                  // it warms alike with the current in either direction
}

// warmedBy returns the magnets of a load, magnetic parts that the craft file binds to
// it, as they were found in the steady part.
func (f *Findings) warmedBy(load string) []warming {
	var out []warming
	if f.Map == nil || f.Map.SourceModels[survey.StateUnpowered] == nil {
		return nil
	}
	on, _ := f.Craft.LoadByName(load)
	model := f.Map.SourceModels[survey.StateUnpowered]
	for k, s := range model.Found.Sources {
		for _, p := range f.Craft.Parts {
			if p.Magnetic && p.Load == load && p.Name == s.Name && s.Kind == source.KindDipole && p.WarmsK > 0 {
				out = append(out, warming{model.fieldOf(k), min(1, lossPerK*p.WarmsK), on.Reverses})
			}
		}
	}
	return out
}

// lost returns the field at p whose loss is looked at, and mean and standard deviation
// of the part of it that a load has by the loss: anything from nothing to all of it is
// as likely. For a load whose current can reverse it is about zero, with the same mean
// square: where the load counts reversed its mean is turned round, and heat is not. At
// the magnet the field is zero: the load stays as it is.
func (w warming) lost(p r3.Vec) (b r3.Vec, mean, sd float64) {
	if b = w.field(p); !magmath.FiniteVec(b) || r3.Norm(b) >= magmath.BeyondUT {
		b = r3.Vec{}
	}
	if w.eitherWay {
		return b, 0, w.part / math.Sqrt(3)
	}
	return b, -w.part / 2, w.part / math.Sqrt(12) // of the uniform distribution
}

// warmed adds to a load at p what its magnets lose by warming.
func warmed(on heading.Load, all []warming, p r3.Vec) heading.Load {
	for _, w := range all {
		b, mean, sd := w.lost(p)
		on.Mean = r3.Add(on.Mean, r3.Scale(mean, b))
		on.Cov = on.Cov.Add(outerScaled(b, sd*sd))
	}
	return on
}
