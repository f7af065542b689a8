package report

// refined is l with k cells for each, its values by cubic interpolation
// through the nodes.
// Source: Keys (1981), Cubic convolution interpolation for digital image
// processing, IEEE Trans. ASSP 29, a = -1/2.
func (l *lattice) refined(k int) *lattice {
	if k <= 1 || l.nx < 2 || l.ny < 2 {
		return l
	}
	out := &lattice{x0: l.x0, y0: l.y0, dx: l.dx / float64(k), dy: l.dy / float64(k), nx: (l.nx-1)*k + 1, ny: (l.ny-1)*k + 1}
	weights := make([][4]float64, k)
	for i := range weights {
		weights[i] = keys(float64(i) / float64(k))
	}
	rows := make([]float64, l.ny*out.nx) // refined along the rows only
	for j := range l.ny {
		for i := range out.nx {
			for t, w := range weights[i%k] {
				rows[j*out.nx+i] += w * l.at(within(i/k+t-1, l.nx), j)
			}
		}
	}
	out.v = make([]float64, out.nx*out.ny)
	for j := range out.ny {
		for t, w := range weights[j%k] {
			row := rows[within(j/k+t-1, l.ny)*out.nx:]
			for i := range out.nx {
				out.v[j*out.nx+i] += w * row[i]
			}
		}
	}
	return out
}

func within(i, n int) int { return min(max(i, 0), n-1) }

// keys are the weights of the four neighbours at a share t beyond the second.
func keys(t float64) [4]float64 {
	return [4]float64{
		((-0.5*t+1)*t - 0.5) * t,
		(1.5*t-2.5)*t*t + 1,
		((-1.5*t+2)*t + 0.5) * t,
		(0.5*t - 0.5) * t * t,
	}
}

// bilinear is the value at x, y; that of the rim beyond it.
func (l *lattice) bilinear(x, y float64) float64 {
	fx := min(max((x-l.x0)/l.dx, 0), float64(l.nx-1))
	fy := min(max((y-l.y0)/l.dy, 0), float64(l.ny-1))
	i, j := min(int(fx), max(l.nx-2, 0)), min(int(fy), max(l.ny-2, 0))
	i1, j1 := min(i+1, l.nx-1), min(j+1, l.ny-1)
	tx, ty := fx-float64(i), fy-float64(j)
	low := l.at(i, j)*(1-tx) + l.at(i1, j)*tx
	high := l.at(i, j1)*(1-tx) + l.at(i1, j1)*tx
	return low*(1-ty) + high*ty
}
