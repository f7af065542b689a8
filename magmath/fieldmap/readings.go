package fieldmap

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Readings returns the readings behind the map. They are not a copy: do not
// modify them.
func (m *Map) Readings() magmath.Readings { return m.data }

// stack are the vectors as one column.
func stack(b []r3.Vec) *mat.VecDense {
	v := mat.NewVecDense(3*len(b), nil)
	for i, x := range b {
		v.SetVec(3*i, x.X)
		v.SetVec(3*i+1, x.Y)
		v.SetVec(3*i+2, x.Z)
	}
	return v
}
