package geomag

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// table is a CSV file with a header of column names and # comments.
type table struct {
	columns []string
	rows    []map[string]string
}

// readTable reads a table from testdata, unpacking it if its name ends in .gz.
func readTable(t *testing.T, name string) table {
	t.Helper()
	b, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(name, ".gz") {
		z, err := gzip.NewReader(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if b, err = io.ReadAll(z); err != nil {
			t.Fatal(err)
		}
	}
	r := csv.NewReader(bytes.NewReader(b))
	r.Comment = '#'
	records, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	tab := table{columns: records[0]}
	for _, rec := range records[1:] {
		row := make(map[string]string, len(rec))
		for i, v := range rec {
			row[tab.columns[i]] = v
		}
		tab.rows = append(tab.rows, row)
	}
	return tab
}

func number(t *testing.T, row map[string]string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return v
}

func equalWithin(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g within %g (off by %.2g)", what, got, want, tol, got-want)
	}
}

// angleBetween is the smaller angle between two directions, degrees.
func angleBetween(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }
