package prove

import (
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// PlaceToProve is the place that a proof is about unless one is named: the
// chosen spot, else where proofs were captured last. choice may be nil; ok is
// false where neither is known.
func PlaceToProve(f *evaluate.Findings, choice *logbook.Choice) (at rank.Mount, ok bool) {
	if choice != nil {
		return rank.ChosenMount(choice), true
	}
	if known := ProofPlaces(f); len(known) > 0 {
		return known[len(known)-1], true
	}
	return rank.Mount{}, false
}
