package swing

import (
	"errors"

	"quietmount/magmath"
	"quietmount/magmath/swing"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// ErrNoPromise says that the map has no steady part to promise.
var ErrNoPromise = errors.New("the map promises nothing: no vectors of the steady part were measured; survey background and unpowered")

// PromiseAt compares what the map promises for the module at a place with what
// a calibration of the finished craft found, as Promise does. A module whose
// axes are not known is taken to lie as the craft does. The error wraps
// ErrNoPromise where the map has no steady part.
func PromiseAt(found *evaluate.Findings, at rank.Mount, onCraft, loose *logbook.Calibration) (swing.SteadyPromise, swing.Kept, error) {
	if found.Map == nil || found.Map.Steady == nil {
		return swing.SteadyPromise{}, swing.Kept{}, ErrNoPromise
	}
	module := found.Craft.Module
	axes := magmath.Identity()
	if module.Axes != nil {
		axes = *module.Axes
	}
	mean, cov := found.Map.Steady.At(module.SensorAt(at.At, at.HeightMM))
	p, kept := Promise(onCraft, loose, axes, mean, cov)
	return p, kept, nil
}
