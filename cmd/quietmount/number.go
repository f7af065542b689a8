package main

import (
	"fmt"
	"strings"

	"quietmount/survey/number"
)

// plainNumber reads one number of a list on the command line.
func plainNumber(w string) (float64, error) {
	w = strings.TrimSpace(w)
	v, ok := number.Parse(w)
	if !ok {
		return 0, fmt.Errorf("%q is not a number", w)
	}
	return v, nil
}
