package evaluate

import (
	"strings"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// SpotStation is the station under which captures with the module at a chosen
// spot are kept.
const SpotStation = "spot"

func (f *Findings) isProof(r *logbook.Run) bool { return IsProof(f.Craft, r) }

// IsProof reports whether a run was captured with the module at a chosen
// spot: its header says so, or, away from the base, it knows no station but
// the one that stands for the spot.
func IsProof(craft *survey.Craft, r *logbook.Run) bool {
	if r.Header.Proof {
		return true
	}
	if _, named := craft.Station(SpotStation); named {
		return false
	}
	any := false
	for _, c := range r.Valid() {
		if c.Visit == logbook.VisitBase || (craft.Base != nil && c.Station == craft.Base.Name) {
			continue
		}
		if !strings.EqualFold(c.Station, SpotStation) {
			return false
		}
		any = true
	}
	return any
}
