package guide

import (
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey"
)

// ChecklistFor returns the items to confirm before the first station: the
// fitted parts and the cautions for this state, and for loads that are on together with
// it; none for a nil craft.
func ChecklistFor(craft *survey.Craft, state string, pulsed bool, together ...string) (fitted, cautions []remark.Remark) {
	if craft == nil {
		return nil, nil
	}
	clear := remark.New("guide.clear")
	if state == survey.StateBackground {
		return nil, []remark.Remark{remark.New("guide.craft-away"), clear}
	}
	for _, f := range craft.Body.Fitted {
		fitted = append(fitted, remark.New("guide.fitted", remark.Values{"what": f}))
	}
	if state == survey.StateUnpowered {
		return fitted, []remark.Remark{remark.New("guide.all-off"), clear}
	}
	for _, name := range append([]string{state}, together...) {
		for _, c := range loadCautions(craft, name, pulsed) {
			if !remark.Has(cautions, c.Code) {
				cautions = append(cautions, c)
			}
		}
	}
	return fitted, append(cautions, clear)
}

// loadCautions returns the cautions for running a load on the bench.
func loadCautions(craft *survey.Craft, name string, pulsed bool) []remark.Remark {
	items := []remark.Remark{remark.New("guide.tied-down")}
	moving := false
	for _, l := range craft.Loads {
		moving = moving || strings.EqualFold(l.Name, name) && l.Kind == survey.LoadMoving
	}
	if moving {
		items = append(items, remark.New("guide.fingers-clear"), remark.New("guide.servo-stops"))
	} else {
		items = append(items, remark.New("guide.propellers-off"), remark.New("guide.motor-heat"), remark.New("guide.antenna-on"))
	}
	items = append(items, remark.New("guide.batteries"))
	if pulsed {
		items = append(items, remark.New("guide.probe-rests"))
	}
	return items
}
