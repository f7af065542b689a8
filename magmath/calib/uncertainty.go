package calib

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// fit sets the noise, the covariance and the residuals of the chosen model.
func (w *work) fit(ctx context.Context) {
	if w.final == nil {
		return
	}
	f := w.final
	if w.res.Parameters == 9 {
		w.noise, w.memory = w.worth(ctx, f, tukey())
	}
	w.res.EffectiveSamples = w.memory.effective
	w.res.DegreesOfFreedom = max(w.memory.effective-float64(w.res.Parameters), 1)
	likely := designOf(f, w.x, w.noise, w.prior)
	likely.score = w.memory.score
	wary := likely
	wary.prior = w.wary
	noise, leftOut, ok := wary.errorsOf(w.res.Parameters)
	_, expected, _ := likely.errorsOf(w.res.Parameters)
	if !ok {
		w.final = nil
		return
	}
	across := acrossOf(f.matrix(), w.o.ReferenceUT, w.o.attitudes())
	w.cov = mat.NewSymDense(nAll, nil)
	w.cov.AddSym(noise, leftOut)
	w.res.ErrorUT = math.Sqrt(product(noise, across) + product(expected, across))
	w.res.NoiseUT = f.s
	sum, n := 0.0, 0.0
	for _, r := range f.resid {
		if math.Abs(r) > wild*f.s {
			w.res.Rejected++
			continue
		}
		sum += r * r
		n++
	}
	w.res.ResidualUT = math.Sqrt(sum / max(n, 1))
}

// wild is the number of standard deviations beyond which a reading counts as
// rejected: the loss gives it less than a third of its weight.
const wild = 4.5

// state sets the result from the scaled parameters.
func (w *work) state() {
	f := w.final
	if f == nil {
		w.res.Parameters = 0
		return
	}
	m := f.matrix().Scale(w.k)
	w.res.OffsetUT = r3.Scale(1/w.k, f.o)
	w.res.FieldUT, w.res.FieldStandardUT = w.o.ReferenceUT, w.o.ReferenceStandardUT
	keep := 1.0
	if w.o.Scale == FromProbe {
		keep = 1 / math.Cbrt(m.Det())
		w.res.FieldUT *= keep
		common := w.cov.At(3, 3) / 3
		w.res.FieldStandardUT = w.res.FieldUT * math.Sqrt(common)
	}
	w.res.Matrix = m.Scale(keep)
	w.covariance(w.res.Matrix)
	w.cover()
}

// covariance sets the covariance of offset and matrix from that of offset and
// shapes. A scale from the reference has the reference's uncertainty; one from
// the probe keeps the determinant at 1 and has the uncertainty of the mean of
// three gains.
func (w *work) covariance(m magmath.Mat3) {
	t := mat.NewDense(9, nAll, nil)
	for k := range 3 {
		t.Set(k, k, 1/w.k)
	}
	inverse, _ := m.Inverse() // its determinant is far from zero
	size := math.Cbrt(m.Det() / (w.final.matrix().Det()))
	for j, b := range shapes {
		d := b.Scale(size)
		if w.o.Scale == FromProbe {
			d = d.Add(m.Scale(-inverse.Mul(d).Trace() / 3))
		}
		for i, v := range six(d) {
			t.Set(3+i, 3+j, v)
		}
	}
	var left, c mat.Dense
	left.Mul(t, w.cov)
	c.Mul(&left, t.T())
	scale := w.o.ReferenceStandardUT / w.o.ReferenceUT
	if w.o.Scale == FromProbe {
		scale = w.res.Prior.Gain / math.Sqrt(3)
	} else if w.res.Parameters == 3 {
		scale = 0 // it is part of the shapes left out
	}
	row := six(m)
	for i := range 9 {
		for j := range 9 {
			v := c.At(i, j)
			if i >= 3 && j >= 3 {
				v += scale * scale * row[i-3] * row[j-3]
			}
			w.res.Covariance[i][j] = v
		}
	}
	sd := func(i int) float64 { return math.Sqrt(max(w.res.Covariance[i][i], 0)) }
	w.res.OffsetStandardUT = r3.Vec{X: sd(0), Y: sd(1), Z: sd(2)}
	w.res.MatrixStandard = magmath.Mat3{{sd(3), sd(6), sd(7)}, {sd(6), sd(4), sd(8)}, {sd(7), sd(8), sd(5)}}
}

// six returns the elements xx, yy, zz, xy, xz, yz.
func six(m magmath.Mat3) [6]float64 {
	return [6]float64{m[0][0], m[1][1], m[2][2], m[0][1], m[0][2], m[1][2]}
}

// cover sets the coverage by the directions of the corrected field.
func (w *work) cover() {
	m := w.final.matrix()
	var seen []r3.Vec
	every := max(len(w.x)/500, 1)
	var last r3.Vec
	for i, v := range w.x {
		if math.Abs(w.final.resid[i]) > wild*w.final.s {
			continue
		}
		last = see(m, w.final.o, v).u
		w.res.Coverage.Add(last)
		if i%every == 0 {
			seen = append(seen, last)
		}
	}
	w.res.SphereCovered = w.res.Coverage.fraction()
	w.res.AttitudesCovered = w.o.shown(w.o.attitudes(), seen)
	if gap, ok := w.res.Coverage.gap(last); ok {
		w.res.Gap = new(hintTo(last, gap, w.o.Axes))
	}
}
