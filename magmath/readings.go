package magmath

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// The errors of Readings.Check, and ErrSingular for packages that factorize Noise.
var (
	ErrNoReadings = errors.New("no readings")
	ErrNotFinite  = errors.New("a value is not finite")
	ErrShape      = errors.New("places, vectors and covariance do not match in number")
	ErrSingular   = errors.New("the covariance of the readings is not positive definite")
)

// Readings are vectors B[i], microtesla, measured at At[i], millimetres, both
// in one frame; several may share a place. Noise is their joint covariance,
// microtesla squared, three rows a reading in the order x, y, z; BlockNoise
// makes that of independent readings.
type Readings struct {
	At    []r3.Vec
	B     []r3.Vec
	Noise *mat.SymDense
}

// Check returns an error if the readings cannot be used: ErrNoReadings, ErrShape,
// or ErrNotFinite wrapped with the number of the reading.
func (d Readings) Check() error {
	n := len(d.At)
	if n == 0 {
		return ErrNoReadings
	}
	if len(d.B) != n || d.Noise == nil || d.Noise.SymmetricDim() != 3*n {
		return ErrShape
	}
	for i := range n {
		if !FiniteVec(d.At[i]) || !FiniteVec(d.B[i]) {
			return fmt.Errorf("reading %d of %d: %w", i+1, n, ErrNotFinite)
		}
		for a := 3 * i; a < 3*i+3; a++ {
			for b := range a + 1 {
				if v := d.Noise.At(a, b); v-v != 0 {
					return fmt.Errorf("covariance of reading %d of %d: %w", i+1, n, ErrNotFinite)
				}
			}
		}
	}
	return nil
}

// Less returns the vectors minus those of a field at their places.
func (d Readings) Less(field []r3.Vec) []r3.Vec {
	out := make([]r3.Vec, len(d.B))
	for i, b := range d.B {
		out[i] = r3.Sub(b, field[i])
	}
	return out
}

// Thin returns at most limit of the readings, evenly chosen in their order.
func (d Readings) Thin(limit int) Readings {
	n := len(d.At)
	if n <= limit {
		return d
	}
	pick := make([]int, limit)
	for i := range limit {
		pick[i] = i * n / limit
	}
	return d.Pick(pick)
}

// Pick are the readings of the given numbers, with their joint covariance.
func (d Readings) Pick(numbers []int) Readings {
	s := Readings{Noise: mat.NewSymDense(3*len(numbers), nil)}
	to, from := s.Noise.RawSymmetric(), d.Noise.RawSymmetric()
	for a, i := range numbers {
		s.At, s.B = append(s.At, d.At[i]), append(s.B, d.B[i])
		for b, j := range numbers[a:] {
			for r := range 3 {
				for c := range 3 {
					// Both hold their upper triangles.
					row, col := 3*i+r, 3*j+c
					if row > col {
						row, col = col, row
					}
					if u, v := 3*a+r, 3*(a+b)+c; u <= v {
						to.Data[u*to.Stride+v] = from.Data[row*from.Stride+col]
					}
				}
			}
		}
	}
	return s
}

// BlockNoise returns the joint covariance of independent readings, the symmetric
// part of blocks on its diagonal; nil for none.
func BlockNoise(blocks []Mat3) *mat.SymDense {
	if len(blocks) == 0 {
		return nil
	}
	s := mat.NewSymDense(3*len(blocks), nil)
	for n, b := range blocks {
		AddBlock(s, 3*n, 3*n, b.Add(b.Transpose()).Scale(0.5))
	}
	return s
}
