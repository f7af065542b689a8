package swing

import (
	"quietmount/magmath/swing"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Comparison is the newest calibration of the finished craft held against what
// the map promises for the chosen spot.
type Comparison struct {
	OnCraft, Loose *logbook.Calibration
	Promise        swing.SteadyPromise
	Kept           swing.Kept
}

// NotComparedError says what is missing before a finished craft can be held
// against the promise of its map.
type NotComparedError struct{ Why string }

func (e *NotComparedError) Error() string { return "not compared: " + e.Why }

// Compare holds the newest calibration of the finished craft that is stored in
// dir, less the newest of the loose module, against the promise for the chosen
// place. A nil choice, a calibration that is not there and a map without a
// steady part give a *NotComparedError; a stored calibration that cannot be
// read gives the error of logbook.LoadCalibration.
func Compare(dir, module string, found *evaluate.Findings, choice *logbook.Choice) (*Comparison, error) {
	onCraft, err := logbook.NewestCalibration(dir, module, true)
	if err != nil {
		return nil, err
	}
	if onCraft == nil {
		return nil, &NotComparedError{"the finished craft was not calibrated, so nobody knows what the steady part became; calibrate --on-craft tells"}
	}
	loose, err := logbook.NewestCalibration(dir, module, false)
	if err != nil {
		return nil, err
	}
	if loose == nil {
		return nil, &NotComparedError{"no calibration of the loose module is stored, so its own offset cannot be told from the craft's"}
	}
	if choice == nil {
		return nil, &NotComparedError{"no spot is chosen, so nobody knows where the module was mounted; rank --choose keeps one"}
	}
	p, kept, err := PromiseAt(found, rank.ChosenMount(choice), onCraft, loose)
	if err != nil {
		return nil, &NotComparedError{err.Error()}
	}
	return &Comparison{onCraft, loose, p, kept}, nil
}
