package contour

// Refined returns a lattice with k by k cells for each of l, its values by cubic
// convolution through the nodes; l itself if k is 1 or l has no cell.
// Source: Keys (1981), Cubic convolution interpolation for digital image
// processing, IEEE Trans. ASSP 29, a = -1/2.
func (l *Lattice) Refined(k int) *Lattice {
	if k <= 1 || l.NX < 2 || l.NY < 2 {
		return l
	}
	out := &Lattice{X0: l.X0, Y0: l.Y0, DX: l.DX / float64(k), DY: l.DY / float64(k), NX: (l.NX-1)*k + 1, NY: (l.NY-1)*k + 1}
	weights := make([][4]float64, k)
	for i := range weights {
		weights[i] = keys(float64(i) / float64(k))
	}
	rows := make([]float64, l.NY*out.NX) // refined along the rows only
	for j := range l.NY {
		for i := range out.NX {
			for t, w := range weights[i%k] {
				rows[j*out.NX+i] += w * l.At(within(i/k+t-1, l.NX), j)
			}
		}
	}
	out.V = make([]float64, out.NX*out.NY)
	for j := range out.NY {
		for t, w := range weights[j%k] {
			row := rows[within(j/k+t-1, l.NY)*out.NX:]
			for i := range out.NX {
				out.V[j*out.NX+i] += w * row[i]
			}
		}
	}
	return out
}

func within(i, n int) int { return min(max(i, 0), n-1) }

// keys returns the weights of four neighbours at a share t beyond the second.
func keys(t float64) [4]float64 {
	return [4]float64{
		((-0.5*t+1)*t - 0.5) * t,
		(1.5*t-2.5)*t*t + 1,
		((-1.5*t+2)*t + 0.5) * t,
		(0.5*t - 0.5) * t * t,
	}
}

// Bilinear returns the interpolated value at x, y; beyond the rim that of the rim.
func (l *Lattice) Bilinear(x, y float64) float64 {
	fx := min(max((x-l.X0)/l.DX, 0), float64(l.NX-1))
	fy := min(max((y-l.Y0)/l.DY, 0), float64(l.NY-1))
	i, j := min(int(fx), max(l.NX-2, 0)), min(int(fy), max(l.NY-2, 0))
	i1, j1 := min(i+1, l.NX-1), min(j+1, l.NY-1)
	tx, ty := fx-float64(i), fy-float64(j)
	low := l.At(i, j)*(1-tx) + l.At(i1, j)*tx
	high := l.At(i, j1)*(1-tx) + l.At(i1, j1)*tx
	return low*(1-ty) + high*ty
}
