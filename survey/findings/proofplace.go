package findings

import "quietmount/survey"

// PlaceToProve is the place that a proof is about unless one is named: the
// chosen spot, else where proofs were captured last. choice may be nil; ok is
// false where neither is known.
func (f *Findings) PlaceToProve(choice *survey.Choice) (at Place, ok bool) {
	if choice != nil {
		return ChosenPlace(choice), true
	}
	if known := f.ProofPlaces(); len(known) > 0 {
		return known[len(known)-1], true
	}
	return Place{}, false
}
