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

// numbers reads n plain numbers with commas between them.
func numbers(s string, n int) ([]float64, error) {
	words := strings.Split(s, ",")
	if len(words) != n {
		return nil, fmt.Errorf("%d numbers are wanted, with commas between them", n)
	}
	out := make([]float64, n)
	for i, w := range words {
		v, ok := number.Parse(strings.TrimSpace(w))
		if !ok {
			return nil, fmt.Errorf("%q is not a number", strings.TrimSpace(w))
		}
		out[i] = v
	}
	return out, nil
}

// axisOf reads a direction of the craft frame: x, -y, +z.
func axisOf(s string) (answer.Axis, error) {
	a := answer.Axis(strings.TrimPrefix(strings.ToLower(strings.TrimSpace(s)), "+"))
	if !slices.Contains(answer.Axes(), a) {
		return "", wrong("x, y or z, with - for the other way: x forward, y right, z down", "--along %q is no direction", s)
	}
	return a, nil
}
