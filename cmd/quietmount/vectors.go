package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/answer"
)

// placeFlag reads X,Y,Z in millimetres.
func placeFlag(flag, s string) (r3.Vec, error) {
	v, err := numbers(s, 3)
	if err != nil {
		return r3.Vec{}, wrong("e.g. --"+flag+" 110,0,-10: x forward, y right, z down, mm from the datum", "--%s %q: %v", flag, s, err)
	}
	return r3.Vec{X: v[0], Y: v[1], Z: v[2]}, nil
}

// numbers reads n plain numbers apart by commas.
func numbers(s string, n int) ([]float64, error) {
	words := strings.Split(s, ",")
	if len(words) != n {
		return nil, fmt.Errorf("%d numbers are wanted, apart by commas", n)
	}
	out := make([]float64, n)
	for i, w := range words {
		v, err := plainNumber(w)
		if err != nil {
			return nil, err
		}
		out[i] = v
	}
	return out, nil
}

func plainNumber(w string) (float64, error) {
	w = strings.TrimSpace(w)
	v, err := strconv.ParseFloat(w, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(w, "xX_") {
		return 0, fmt.Errorf("%q is not a number", w)
	}
	return v, nil
}

// axisFlag reads a direction of the craft frame: x, -y, +z.
func axisFlag(flag, s string) (answer.Axis, error) {
	a := answer.Axis(strings.TrimPrefix(strings.ToLower(strings.TrimSpace(s)), "+"))
	if !slices.Contains(answer.Axes(), a) {
		return "", wrong("x, y or z, with - for the other way: x forward, y right, z down", "--%s %q is no direction", flag, s)
	}
	return a, nil
}
