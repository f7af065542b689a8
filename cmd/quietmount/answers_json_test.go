package main

import (
	"encoding/json"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// quantilesJSON is what the answers call {estimate, upper95}.
type quantilesJSON struct {
	Estimate     float64 `json:"estimate"`
	Upper95      float64 `json:"upper95"`
	AnyDirection bool    `json:"any_direction"`
}

type stationJSON struct {
	Name          string         `json:"name"`
	X             float64        `json:"x_mm"`
	Y             float64        `json:"y_mm"`
	Z             float64        `json:"z_mm"`
	Steady        *[3]float64    `json:"steady_ut"`
	Shifting      *[3]float64    `json:"shifting_ut"`
	Magnitude     *float64       `json:"magnitude_difference_ut"`
	SteadyError   *quantilesJSON `json:"steady_heading_error_deg"`
	ShiftingError *quantilesJSON `json:"shifting_heading_error_deg"`
	SteadyCov     *[3][3]float64 `json:"steady_covariance_ut2"`
	ShiftingCov   *[3][3]float64 `json:"shifting_covariance_ut2"`
}

type mapJSON struct {
	Basis    string        `json:"basis"`
	Stations []stationJSON `json:"stations"`
	LeftOut  map[string]struct {
		RMSE   *float64 `json:"rmse_ut"`
		Inside *float64 `json:"inside95_fraction"`
	} `json:"left_out"`
	Warnings []string `json:"warnings"`
}

func (m mapJSON) station(t *testing.T, name string) stationJSON {
	t.Helper()
	for _, s := range m.Stations {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no station %q in the map", name)
	return stationJSON{}
}

type spotJSON struct {
	Rank         int            `json:"rank"`
	X            float64        `json:"x_mm"`
	Y            float64        `json:"y_mm"`
	Z            float64        `json:"z_mm"`
	Height       float64        `json:"height_mm"`
	Near         string         `json:"nearest_station"`
	Shifting     *quantilesJSON `json:"shifting_heading_error_deg"`
	Steady       *quantilesJSON `json:"steady_heading_error_deg"`
	Cable        *float64       `json:"cable_mm"`
	Factor       *float64       `json:"extrapolation_factor"`
	WithinBudget bool           `json:"within_budget"`
}

type rankJSON struct {
	Spots     []spotJSON         `json:"spots"`
	Excluded  map[string]float64 `json:"excluded"`
	Qualified bool               `json:"qualified"`
	Why       string             `json:"why"`
}

// ask decodes the JSON of a call that ends with status 0 or 3.
func ask(t *testing.T, dir string, into any, args ...string) int {
	t.Helper()
	r := call(t, dir, append(args, "--json")...)
	if r.status != 0 && r.status != 3 {
		t.Fatalf("quietmount %q: exit status %d\n%s", args, r.status, r.stderr)
	}
	if err := json.Unmarshal([]byte(r.out), into); err != nil {
		t.Fatalf("quietmount %q: %v\n%s", args, err, r.out)
	}
	return r.status
}

// checkEstimate demands that an estimate meets the truth within its own
// covariance, widened by slack microteslas, and is not vaguer than vagueUT.
func checkEstimate(t *testing.T, what string, got *[3]float64, cov *[3][3]float64, want r3.Vec, slack float64) {
	t.Helper()
	if got == nil || cov == nil {
		t.Errorf("%s: null where it was measured", what)
		return
	}
	s := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := range 3 {
			if math.Abs(cov[i][j]-cov[j][i]) > 1e-9*(cov[i][i]+cov[j][j]) {
				t.Errorf("%s: covariance %v is not symmetric", what, cov)
			}
			s.SetSym(i, j, cov[i][j])
		}
		s.SetSym(i, i, cov[i][i]+slack*slack)
	}
	d := mat.NewVecDense(3, []float64{got[0] - want.X, got[1] - want.Y, got[2] - want.Z})
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		t.Errorf("%s: covariance %v is not positive definite", what, cov)
		return
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, d); err != nil {
		t.Fatal(err)
	}
	// 16.27 is the 0.999 quantile of chi squared with 3 degrees of freedom
	// (standard tables).
	if chi2 := mat.Dot(d, &x); chi2 > 16.27 {
		t.Errorf("%s: %v, want %v: chi squared %.1f with covariance %v", what, *got, want, chi2, *cov)
	}
}
