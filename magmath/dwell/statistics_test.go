package dwell

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"quietmount/magmath"
)

// Certified values of the NIST Statistical Reference Datasets, univariate
// summary statistics (https://www.itl.nist.gov/div898/strd/univ/), carried in
// testdata/strd_univariate.csv and testdata/strd_*.txt. The decimals of
// NumAcc3 and 4 are not representable in binary, which limits the deviation
// to about 1e-9 and 1e-7, and the mean to rounding.
func TestMomentsCertified(t *testing.T) {
	rows := readCSV(t, "testdata/strd_univariate.csv")
	if len(rows) != 6 {
		t.Fatalf("%d rows", len(rows))
	}
	tolerance := map[string]float64{"NumAcc3": 1e-9, "NumAcc4": 1e-7}
	for _, r := range rows {
		x := strd(t, r[0])
		if len(x) != int(number(t, r[1])) {
			t.Fatalf("%s: %d values, want %s", r[0], len(x), r[1])
		}
		tol := max(tolerance[r[0]], 1e-12)
		mean, sd := moments(x)
		relative(t, r[0]+" mean", mean, number(t, r[2]), 1e-14)
		relative(t, r[0]+" deviation", sd, number(t, r[3]), tol)
		relative(t, r[0]+" lag 1", lag1(x), number(t, r[4]), max(tol, 1e-11))
	}
}

func TestMomentsSmall(t *testing.T) {
	if m, sd := moments(nil); !math.IsNaN(m) || !math.IsNaN(sd) {
		t.Error(m, sd)
	}
	if m, sd := moments([]float64{3}); m != 3 || sd != 0 {
		t.Error(m, sd)
	}
	if r := lag1([]float64{2, 2, 2}); r != 0 {
		t.Error(r)
	}
}

func relative(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

// strd gives a data set by name, by its published construction or from
// testdata.
func strd(t *testing.T, name string) []float64 {
	alternate := func(first, low, high float64) []float64 {
		x := []float64{first}
		for range 500 {
			x = append(x, low, high)
		}
		return x
	}
	switch name {
	case "NumAcc1":
		return []float64{10000001, 10000003, 10000002}
	case "NumAcc2":
		return alternate(1.2, 1.1, 1.3)
	case "NumAcc3":
		return alternate(1000000.2, 1000000.1, 1000000.3)
	case "NumAcc4":
		return alternate(10000000.2, 10000000.1, 10000000.3)
	}
	data, err := os.ReadFile("testdata/strd_" + strings.ToLower(name) + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	var x []float64
	for field := range strings.FieldsSeq(string(data)) {
		x = append(x, number(t, field))
	}
	return x
}

// readCSV gives the rows after the header of a file whose comment lines
// begin with #.
func readCSV(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The median absolute deviation of sorted values against its definition, with
// ties, about centres within the values and beyond them.
func TestMadSD(t *testing.T) {
	rng := rand.New(rand.NewPCG(57, 0))
	for n := 1; n < 40; n++ {
		x := make([]float64, n)
		for i := range x {
			x[i] = math.Round(4 * rng.NormFloat64())
		}
		for _, centre := range []float64{-100, -1, 0, 0.3, median(x), 100} {
			d := make([]float64, n)
			for i, v := range x {
				d[i] = math.Abs(v - centre)
			}
			if got, want := madSD(x, centre), madFactor*magmath.Median(d); got != want {
				t.Fatalf("%v about %g: %g, want %g", x, centre, got, want)
			}
		}
	}
	if sd := madSD(nil, 0); !math.IsNaN(sd) {
		t.Error(sd)
	}
}
