package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/craftfile"
)

// scriptMagnet lays a magnet under readings that were taken without it:
// magnet DIR IN.csv OUT.csv X,Y,Z MX,MY,MZ. IN.csv is an exported run with a
// place in each row; millimetres and A m2 in the craft frame.
func scriptMagnet(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 5 {
		ts.Fatalf("usage: magnet DIR IN.csv OUT.csv X,Y,Z MX,MY,MZ")
	}
	craft, err := craftfile.Load(ts.MkAbs(args[0]))
	ts.Check(err)
	src, err := scriptVector(args[3])
	ts.Check(err)
	moment, err := scriptVector(args[4])
	ts.Check(err)
	rows, err := csv.NewReader(strings.NewReader(ts.ReadFile(args[1]))).ReadAll()
	ts.Check(err)
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	number := func(row []string, name string) float64 {
		v, err := strconv.ParseFloat(row[column[name]], 64)
		ts.Check(err)
		return v
	}
	for _, row := range rows[1:] {
		at := r3.Vec{X: number(row, "x_mm"), Y: number(row, "y_mm"), Z: number(row, "z_mm")}
		b := dipoleUT(moment, src, craft.MeasuringModule().SensorAt(at, 0))
		for name, v := range map[string]float64{"bx_ut": b.X, "by_ut": b.Y, "bz_ut": b.Z} {
			row[column[name]] = fmt.Sprintf("%.3f", number(row, name)+v)
		}
	}
	var out bytes.Buffer
	ts.Check(csv.NewWriter(&out).WriteAll(rows))
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), out.Bytes(), 0o666))
}

// scriptVector reads X,Y,Z.
func scriptVector(text string) (v r3.Vec, err error) {
	_, err = fmt.Sscanf(text, "%g,%g,%g", &v.X, &v.Y, &v.Z)
	return v, err
}
