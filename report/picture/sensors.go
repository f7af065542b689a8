package picture

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/survey/evaluate"
)

// sensors are a few places of the sensor, with what the quantities of one survey
// share there.
type sensors struct {
	at     []r3.Vec // craft frame, mm
	m      *evaluate.Mounted
	fields map[string][]heading.Load // by part
}

// atOnce is the number of places between two looks at the context.
const atOnce = 64

// sensorsAt splits places of the sensor into groups of atOnce, with one sampler.
func sensorsAt(f *evaluate.Findings, points []r3.Vec) []*sensors {
	var all []*sensors
	m := f.NewMounted()
	for some := range slices.Chunk(points, atOnce) {
		all = append(all, &sensors{some, m, map[string][]heading.Load{}})
	}
	return all
}

// field returns what the steady part or a load does at the places. It predicts each
// once.
func (s *sensors) field(part string) []heading.Load {
	on, ok := s.fields[part]
	if !ok {
		on = s.m.Part(part, s.at)
		s.fields[part] = on
	}
	return on
}
