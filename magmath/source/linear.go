package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// freeSD stands for a coordinate of which nothing was known beforehand, mm.
const freeSD = 60.0

// Linear is the field of all sources together at p and its derivatives by
// every parameter, element after element, strengths before coordinates; on a
// source a field beyond bounds and no derivatives. With Prior it is what
// another fit needs that starts from this one.
func (f *Found) Linear(p r3.Vec) (r3.Vec, []r3.Vec) { return f.all.at(p) }

// LinearOf is Linear for Sources[k] alone: its share of the field at p and of
// the derivatives.
func (f *Found) LinearOf(k int, p r3.Vec) (r3.Vec, []r3.Vec) { return f.all.of(k, p) }

// Prior is the normal prior of every parameter in the order of Linear: by how
// much its centre departs from the value found, and its standard deviation. A
// coordinate of which nothing was known is taken for found where it is, to
// 60 mm.
func (f *Found) Prior() (departure, sd []float64) {
	for k, e := range f.all.es {
		for i, s := range e.strengthsSD {
			departure, sd = append(departure, e.strengthsAt[i]-f.all.x[k][i]), append(sd, s)
		}
		for i, s := range e.coordsSD {
			d := e.coordsAt[i] - e.coords[i]
			if math.IsInf(s, 1) || !(s > 0) {
				d, s = 0, freeSD
			}
			departure, sd = append(departure, d), append(sd, s)
		}
	}
	return departure, sd
}
