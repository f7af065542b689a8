package fieldmap

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// A source taken away, another moved: the map afterwards is the conditional of
// the joint normal distribution of the readings and the new field, worked out
// with dense matrices from its definition. The map as it was stays so.
func TestAfterIsTheConditional(t *testing.T) {
	kernel := Smooth{LogSD: math.Log(0.3), LogLength: math.Log(50)}
	bump := func(c r3.Vec) func(p r3.Vec) []r3.Vec {
		return func(p r3.Vec) []r3.Vec {
			s := math.Exp(-r3.Norm2(r3.Sub(p, c)) / (2 * 60 * 60))
			return []r3.Vec{{X: s, Z: -s / 2}, {Y: s}}
		}
	}
	none := func(r3.Vec) []r3.Vec { return make([]r3.Vec, 2) }
	first, second := bump(r3.Vec{X: 30}), bump(r3.Vec{X: 120, Y: 20})
	later := bump(r3.Vec{X: 60, Y: 90})
	meanBefore := func(p r3.Vec) r3.Vec { return r3.Vec{X: 1 + 0.01*p.X} }
	meanLater := func(p r3.Vec) r3.Vec { return r3.Vec{Y: 2 - 0.02*p.Y} }

	var d magmath.Readings
	var noise []magmath.Mat3
	for i := range 7 {
		p := r3.Vec{X: 25 * float64(i), Y: 15 * float64(i%3)}
		d.At = append(d.At, p)
		d.B = append(d.B, r3.Add(meanBefore(p), r3.Vec{X: math.Sin(float64(i)), Y: 0.3 * float64(i), Z: 1 / float64(1+i)}))
		noise = append(noise, magmath.Diagonal(0.02, 0.03, 0.04))
	}
	d.Noise = magmath.BlockNoise(noise)
	sources := []Source{{Name: "first", Fields: first, LogSD: math.Log(2)}, {Name: "second", Fields: second, LogSD: math.Log(1.5)}}
	known := func(field func(r3.Vec) r3.Vec) *SourceMean {
		return &SourceMean{At: func(p r3.Vec) (r3.Vec, []r3.Vec) { return field(p), nil }}
	}
	m, err := condition(t.Context(), d, kernel, featuresOf(known(meanBefore), sources, d.At), mat.NewSymDense(3*len(d.At), nil))
	if err != nil {
		t.Fatal(err)
	}
	at := []r3.Vec{{X: 40, Y: 30}, {X: 100}}
	before, covBefore := m.Predict(at)
	after := m.After(known(meanLater), none, later)
	mean, cov := after.Predict(at)

	fields := func(p r3.Vec, fs ...func(r3.Vec) []r3.Vec) []r3.Vec { return append(fs[0](p), fs[1](p)...) }
	variance := []float64{4, 4, 2.25, 2.25}
	between := func(p, q r3.Vec, fp, fq []r3.Vec) magmath.Mat3 {
		c := kernel.K(p, q)
		for k, v := range variance {
			c = c.Add(magmath.Outer(fp[k], fq[k]).Scale(v))
		}
		return c
	}
	n := 3 * len(d.At)
	joint := mat.NewSymDense(n, nil)
	joint.CopySym(d.Noise)
	y := mat.NewVecDense(n, nil)
	for i, p := range d.At {
		for j, q := range d.At {
			c := between(p, q, fields(p, first, second), fields(q, first, second))
			for a := range 3 {
				for b := range 3 {
					if 3*i+a <= 3*j+b {
						joint.SetSym(3*i+a, 3*j+b, joint.At(3*i+a, 3*j+b)+c[a][b])
					}
				}
			}
		}
		r := r3.Sub(d.B[i], meanBefore(p))
		for a, v := range []float64{r.X, r.Y, r.Z} {
			y.SetVec(3*i+a, v)
		}
	}
	for k, p := range at {
		cross := mat.NewDense(3, n, nil)
		for j, q := range d.At {
			c := between(p, q, fields(p, none, later), fields(q, first, second))
			for a := range 3 {
				for b := range 3 {
					cross.Set(a, 3*j+b, c[a][b])
				}
			}
		}
		var solved, gain mat.Dense
		if err := solved.Solve(joint, cross.T()); err != nil {
			t.Fatal(err)
		}
		gain.Mul(cross, &solved)
		var want mat.VecDense
		want.MulVec(solved.T(), y)
		own := between(p, p, fields(p, none, later), fields(p, none, later))
		g := meanLater(p)
		for a, c := range [][2]float64{{mean[k].X, g.X}, {mean[k].Y, g.Y}, {mean[k].Z, g.Z}} {
			if math.Abs(c[0]-c[1]-want.AtVec(a)) > 1e-6 {
				t.Errorf("place %d, component %d: %.7f, by definition %.7f", k, a, c[0], c[1]+want.AtVec(a))
			}
			for b := range 3 {
				if got, want := cov[k][a][b], own[a][b]-gain.At(a, b); math.Abs(got-want) > 1e-6 {
					t.Errorf("place %d, covariance %d,%d: %.7f, by definition %.7f", k, a, b, got, want)
				}
			}
		}
		if one := after.Mean(p); r3.Norm(r3.Sub(one, mean[k])) > 1e-9 {
			t.Errorf("place %d: Mean says %v, Predict %v", k, one, mean[k])
		}
	}
	again, covAgain := m.Predict(at)
	for k := range at {
		if again[k] != before[k] || covAgain[k] != covBefore[k] {
			t.Errorf("place %d: the map as it was has changed", k)
		}
	}
}
