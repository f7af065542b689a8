// Package simtest decides how long the simulations in tests run. Only tests
// import it.
//
// Every simulation keeps two numbers of trials: the few that each
// `go test ./...` runs, enough to see a broken estimator, and the whole number
// that its stated bias, standard error or coverage rests on. The environment
// variable QUIETMOUNT_EVIDENCE, set to anything, chooses the whole number.
package simtest

import "os"

// Whole reports whether the whole evidence is asked for.
func Whole() bool { return os.Getenv("QUIETMOUNT_EVIDENCE") != "" }

// Trials returns whole if the whole evidence is asked for, else few.
func Trials(few, whole int) int {
	if Whole() {
		return whole
	}
	return few
}
