package main

import (
	"fmt"
	"strings"

	"quietmount/survey"
)

// plainNumber reads one number of a list on the command line.
func plainNumber(w string) (float64, error) {
	w = strings.TrimSpace(w)
	v, ok := survey.Number(w)
	if !ok {
		return 0, fmt.Errorf("%q is not a number", w)
	}
	return v, nil
}
