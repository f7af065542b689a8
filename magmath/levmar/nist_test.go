package levmar

import "math"

// Numbers of the NIST Statistical Reference Datasets, nonlinear regression
// (https://www.itl.nist.gov/div898/strd/); public domain.

func misra1a() problem {
	return problem{
		name: "Misra1a",
		y:    []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78},
		x:    []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0},
		model: func(b []float64, x float64) (float64, []float64) {
			e := math.Exp(-b[1] * x)
			return b[0] * (1 - e), []float64{1 - e, b[0] * x * e}
		},
		starts:    [][]float64{{500, 0.0001}, {250, 0.0005}},
		certified: []float64{2.3894212918e+02, 5.5015643181e-04},
		rss:       1.2455138894e-01,
		digits:    9,
	}
}

func danWood() problem {
	return problem{
		name: "DanWood",
		y:    []float64{2.138, 3.421, 3.597, 4.34, 4.882, 5.66},
		x:    []float64{1.309, 1.471, 1.49, 1.565, 1.611, 1.68},
		model: func(b []float64, x float64) (float64, []float64) {
			p := math.Pow(x, b[1])
			return b[0] * p, []float64{p, b[0] * p * math.Log(x)}
		},
		starts:    [][]float64{{1, 5}, {0.7, 4}},
		certified: []float64{7.6886226176e-01, 3.8604055871e+00},
		rss:       4.3173084083e-03,
		digits:    9,
	}
}

func thurber() problem {
	return problem{
		name: "Thurber",
		y:    []float64{80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.06, 401.672, 390.724, 567.534, 635.316, 733.054, 759.087, 894.206, 990.785, 1090.109, 1080.914, 1122.643, 1178.351, 1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384, 1442.962, 1464.35, 1468.705, 1447.894, 1457.628},
		x:    []float64{-3.067, -2.981, -2.921, -2.912, -2.84, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322, -1.501, -1.46, -1.274, -1.212, -1.1, -1.046, -0.915, -0.714, -0.566, -0.545, -0.4, -0.309, -0.109, -0.103, 0.01, 0.119, 0.377, 0.79, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.2},
		model: func(b []float64, x float64) (float64, []float64) {
			top := b[0] + x*(b[1]+x*(b[2]+x*b[3]))
			under := 1 + x*(b[4]+x*(b[5]+x*b[6]))
			y := top / under
			return y, []float64{1 / under, x / under, x * x / under, x * x * x / under, -y * x / under, -y * x * x / under, -y * x * x * x / under}
		},
		starts:    [][]float64{{1000, 1000, 400, 40, 0.7, 0.3, 0.03}, {1300, 1500, 500, 75, 1, 0.4, 0.05}},
		certified: []float64{1.2881396800e+03, 1.4910792535e+03, 5.8323836877e+02, 7.5416644291e+01, 9.6629502864e-01, 3.9797285797e-01, 4.9727297349e-02},
		rss:       5.6427082397e+03,
		digits:    9,
	}
}
