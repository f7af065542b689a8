// Package fieldmap interpolates a magnetic vector field measured at stations:
// a Gaussian process with a choice of covariances, hyperparameters by
// marginal likelihood, full noise covariances between components and
// stations, and a leave-one-out check of itself. It answers anywhere, and the
// farther from the stations the wider; whether a place is sensible to ask
// about is the caller's business.
//
// The field's prior mean is zero: a disturbance decays away from the craft.
// Frame: the craft's, z down; millimetres and microtesla.
//
// Source: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine
// Learning (2006): eq. 2.25 and 2.26 (prediction), 5.8 and 5.9 (marginal
// likelihood and gradient), 5.12 (leave-one-out, here by blocks of three).
package fieldmap

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Errors that callers distinguish.
var (
	ErrNoStations = errors.New("no stations: nothing to interpolate")
	ErrNotFinite  = errors.New("a value is not finite")
	ErrShape      = errors.New("stations, vectors and covariance do not match in number")
	ErrSingular   = errors.New("the covariance of the readings is not positive definite")
)

// Data are the readings. B[i] was measured at At[i]; several readings at one
// place are welcome. Noise is their joint covariance, three rows a reading in
// the order x, y, z; BlockNoise makes one of independent readings.
type Data struct {
	At    []r3.Vec
	B     []r3.Vec
	Noise *mat.SymDense
}

// BlockNoise is the joint covariance of independent readings; nil for none.
func BlockNoise(blocks []magmath.Mat3) *mat.SymDense {
	if len(blocks) == 0 {
		return nil
	}
	s := mat.NewSymDense(3*len(blocks), nil)
	for n, b := range blocks {
		for i := range 3 {
			for j := i; j < 3; j++ {
				s.SetSym(3*n+i, 3*n+j, (b[i][j]+b[j][i])/2)
			}
		}
	}
	return s
}

func (d Data) check() error {
	n := len(d.At)
	if n == 0 {
		return ErrNoStations
	}
	if len(d.B) != n || d.Noise == nil || d.Noise.SymmetricDim() != 3*n {
		return ErrShape
	}
	for i := range n {
		if !magmath.FiniteVec(d.At[i]) || !magmath.FiniteVec(d.B[i]) {
			return fmt.Errorf("station %d of %d: %w", i+1, n, ErrNotFinite)
		}
		for k := 3 * i; k < 3*i+3; k++ {
			for j := range 3 * n {
				if v := d.Noise.At(k, j); v != v || v-v != 0 {
					return fmt.Errorf("covariance of station %d of %d: %w", i+1, n, ErrNotFinite)
				}
			}
		}
	}
	return nil
}

// about are the readings less a field taken for known; nil: the readings.
func (d Data) about(ground func(r3.Vec) r3.Vec) []r3.Vec {
	if ground == nil {
		return d.B
	}
	out := make([]r3.Vec, len(d.B))
	for i, b := range d.B {
		out[i] = r3.Sub(b, ground(d.At[i]))
	}
	return out
}

// Thin are every k-th reading such that at most limit remain.
func (d Data) Thin(limit int) Data {
	n := len(d.At)
	if n <= limit {
		return d
	}
	pick := make([]int, limit)
	for i := range limit {
		pick[i] = i * n / limit
	}
	s := Data{Noise: mat.NewSymDense(3*limit, nil)}
	for a, i := range pick {
		s.At, s.B = append(s.At, d.At[i]), append(s.B, d.B[i])
		for b, j := range pick {
			for r := range 3 {
				for c := range 3 {
					if u, v := 3*a+r, 3*b+c; u <= v {
						s.Noise.SetSym(u, v, d.Noise.At(3*i+r, 3*j+c))
					}
				}
			}
		}
	}
	return s
}

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
