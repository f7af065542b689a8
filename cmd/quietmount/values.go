package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/answer"
	"quietmount/survey/number"
)

// farthestMM is a place beyond any craft.
const farthestMM = 1e6

// placeFlag reads X,Y,Z in millimetres, none beyond farthestMM.
func placeFlag(flag, s string) (r3.Vec, error) {
	v, err := numbers(s, 3)
	if err == nil && max(math.Abs(v[0]), math.Abs(v[1]), math.Abs(v[2])) > farthestMM {
		err = errors.New("that is more than a kilometre away")
	}
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

// axisFlag reads a direction of the craft frame: x, -y, +z.
func axisFlag(flag, s string) (answer.Axis, error) {
	a := answer.Axis(strings.TrimPrefix(strings.ToLower(strings.TrimSpace(s)), "+"))
	if !slices.Contains(answer.Axes(), a) {
		return "", wrong("x, y or z, with - for the other way: x forward, y right, z down", "--%s %q is no direction", flag, s)
	}
	return a, nil
}

// plainNumber reads one number of a list on the command line.
func plainNumber(w string) (float64, error) {
	w = strings.TrimSpace(w)
	v, ok := number.Parse(w)
	if !ok {
		return 0, fmt.Errorf("%q is not a number", w)
	}
	return v, nil
}
