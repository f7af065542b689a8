package picture

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/heading"
	"quietmount/survey/evaluate"
)

// sensors are a few places of the sensor, with what the quantities of one survey
// share there.
type sensors struct {
	at      []r3.Vec // craft frame, mm
	sampler *heading.Sampler
	fields  map[string]predicted // by part
}

// predicted is a field at some places, µT and µT squared.
type predicted struct {
	mean []r3.Vec
	cov  []magmath.Mat3
}

// atOnce is the number of places between two looks at the context.
const atOnce = 64

// sensorsAt splits places of the sensor into groups of atOnce, with one sampler.
func sensorsAt(points []r3.Vec) []*sensors {
	var all []*sensors
	sampler := heading.NewSampler(1)
	for some := range slices.Chunk(points, atOnce) {
		all = append(all, &sensors{some, sampler, map[string]predicted{}})
	}
	return all
}

// field returns the field of the steady part or of a load. It predicts each once.
func (s *sensors) field(f *evaluate.Findings, part string) (mean []r3.Vec, cov []magmath.Mat3) {
	p, ok := s.fields[part]
	if !ok {
		field := f.Map.Loads[part]
		if part == PartSteady {
			field = f.Map.Steady
		}
		p.mean, p.cov = fieldmap.Predict(field, s.at)
		s.fields[part] = p
	}
	return p.mean, p.cov
}
