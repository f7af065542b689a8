package dwell

import (
	"context"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"quietmount/magmath"
)

// longRun is the long-run covariance of autocorrelated noise: Var(mean) = omega/n.
type longRun struct {
	omega magmath.Mat3 // long-run covariance of one sample
	gamma magmath.Mat3 // plain covariance of one sample
	df    float64      // degrees of freedom of omega, for Student's t
}

// phiMax bounds a coefficient of autocorrelation: in a dwell, a longer memory
// looks like a drift.
const phiMax = 0.97

// unbiasedPhi returns the autocorrelation at lag one, phi as estimated from n
// values about their mean, without its bias of -(1+3 phi)/n.
//
// Source: Kendall 1954; Marriott and Pope 1954, Biometrika 41, 390
// (from memory).
func unbiasedPhi(phi float64, n int) float64 {
	if n < 8 {
		return min(max(phi, -0.5), phiMax)
	}
	phi = (phi + 1/float64(n)) / (1 - 3/float64(n))
	return min(max(phi, -0.5), phiMax)
}

// estimateLongRun returns the long-run covariance of n zero-mean values on each
// axis. It whitens each axis by its own lag-one coefficient, takes the mean
// square of the lowest cosine transforms, equally weighted, for the spectrum at
// frequency zero, and divides the whitening out. The degrees of freedom count
// the cosines and the uncertainty of the coefficient.
//
// Sources: Andrews and Monahan 1992, Econometrica 60, 953 (prewhitening);
// Mueller 2007 and Lazarus, Lewis, Stock, Watson 2018, J. Business and
// Economic Statistics 36, 541 (equal-weighted cosines with t critical
// values), from memory. The number of cosines, 0.6 n^(2/3), is ours; the
// coverage that follows is measured in the tests.
func estimateLongRun(ctx context.Context, u [3][]float64) longRun {
	n := len(u[0])
	var out longRun
	out.gamma = productMean(u, float64(n-1))
	if n < 4 {
		out.omega, out.df = out.gamma, float64(max(n-1, 1))
		return out
	}
	var white [3][]float64
	var back [3]float64
	spread := 0.0
	for k := range 3 {
		phi := unbiasedPhi(lag1(u[k]), n)
		white[k] = make([]float64, n-1)
		for i := range white[k] {
			white[k][i] = u[k][i+1] - phi*u[k][i]
		}
		back[k] = 1 / (1 - phi)
		spread += 4 * (1 + phi) / (1 - phi) / float64(n) / 3
	}
	cosines := min(n-2, max(8, int(math.Round(0.6*math.Pow(float64(n), 2.0/3)))))
	out.omega = cosineSpectrum(ctx, white, cosines)
	for i := range 3 {
		for j := range 3 {
			out.omega[i][j] *= back[i] * back[j]
		}
	}
	out.df = max(2/(2/float64(cosines)+spread), 1)
	return out
}

// cosineSpectrum returns the mean outer product of the first cosine transforms
// sqrt(2/n) sum cos(pi j (t+1/2)/n) x_t, j = 1..count, t = 0..n-1.
func cosineSpectrum(ctx context.Context, x [3][]float64, count int) magmath.Mat3 {
	n := len(x[0])
	var sums [][3]float64
	if n > mostDirect {
		sums = chirpCosines(ctx, x, count)
	} else {
		sums = directCosines(x, count)
	}
	var out magmath.Mat3
	for _, s := range sums {
		v := vec(s)
		out = out.Add(magmath.Outer(v, v))
	}
	return out.Scale(2 / float64(n) / float64(count))
}

// mostDirect is the length up to which the direct sums are about as quick,
// measured; it is 40 s of a stream of 50 samples a second.
const mostDirect = 2000

// directCosines returns sum cos(pi j (t+1/2)/n) x_t on each axis, for j =
// 1..count. The work grows with n times count, the error of the recurrence with
// n^2.
func directCosines(x [3][]float64, count int) [][3]float64 {
	n := float64(len(x[0]))
	out := make([][3]float64, count)
	for j := 1; j <= count; j++ {
		// cos of equal steps by the recurrence of Chebyshev.
		step := 2 * math.Cos(math.Pi*float64(j)/n)
		c := math.Cos(math.Pi * float64(j) / (2 * n))
		before := c // cos is even about t = -1/2
		var sum [3]float64
		for t := range x[0] {
			for k := range 3 {
				sum[k] += c * x[k][t]
			}
			c, before = step*c-before, c
		}
		out[j-1] = sum
	}
	return out
}

// chirpCosines returns the sums of directCosines by fast Fourier transforms,
// one block of the series after the other. The work grows with n log count, the
// memory with count.
//
// With turn(m) = exp(i pi m/(2n)), the sum over a block that begins at t0 is
// the real part of turn(j(2 t0 + 1) + j^2) times the convolution over r of
// x[t0+r] turn(r^2) with the conjugate of turn((j-r)^2).
//
// Source: Rabiner, Schafer, Rader 1969, The chirp z-transform algorithm, IEEE
// Trans. Audio Electroacoustics 17, 86 (from memory).
func chirpCosines(ctx context.Context, x [3][]float64, count int) [][3]float64 {
	n := len(x[0])
	size := 4096
	for size < 4*count {
		size *= 2
	}
	block := size - count
	turn := func(m int64) complex128 { // exact for any m: a whole turn is 4n
		s, c := math.Sincos(math.Pi / 2 * float64(m%int64(4*n)) / float64(n))
		return complex(c, s)
	}
	chirp := make([]complex128, max(block, count+1)) // turn(m^2)
	for m := range chirp {
		chirp[m] = turn(int64(m) * int64(m))
	}
	fft := fourier.NewCmplxFFT(size)
	kernel := make([]complex128, size)
	for m := range count + 1 {
		kernel[m] = cmplx.Conj(chirp[m])
	}
	for m := 1; m < block; m++ {
		kernel[size-m] = cmplx.Conj(chirp[m])
	}
	fft.Coefficients(kernel, kernel)
	out := make([][3]float64, count)
	shift := make([]complex128, count)
	work := make([]complex128, size)
	for t0 := 0; t0 < n && ctx.Err() == nil; t0 += block {
		for i := range shift {
			j := int64(i + 1)
			shift[i] = turn(j*int64(2*t0+1)+j*j) / complex(float64(size), 0)
		}
		for k := range 3 {
			clear(work)
			for r, v := range x[k][t0:min(t0+block, n)] {
				work[r] = complex(v, 0) * chirp[r]
			}
			fft.Coefficients(work, work)
			for i := range work {
				work[i] *= kernel[i]
			}
			fft.Sequence(work, work)
			for i := range out {
				out[i][k] += real(shift[i] * work[i+1])
			}
		}
	}
	return out
}

// productMean returns sum u u^T / divisor; zero without values.
func productMean(u [3][]float64, divisor float64) magmath.Mat3 {
	var out magmath.Mat3
	for i := range 3 {
		for j := range 3 {
			for t := range u[i] {
				out[i][j] += u[i][t] * u[j][t]
			}
		}
	}
	return out.Scale(1 / max(divisor, 1))
}
