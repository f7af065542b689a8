package progress

import (
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Minutes of the checks of a finished craft: common practice, no source.
const (
	minutesProof = 4 // a load
	minutesArrow = 5
	minutesSwing = 10
)

// prove is done when every load was pulsed at the chosen spot.
func (f Folder) prove() Step {
	step, done := Step{Kind: Prove}, 0
	for _, l := range f.Craft.Loads {
		switch {
		case f.proved(l.Name):
			done++
		case step.State == "":
			step.State = l.Name
		}
	}
	step.Done, step.Begun = step.State == "", done > 0 && step.State != ""
	step.Minutes = float64(minutesProof * (len(f.Craft.Loads) - done))
	step.Detail = remark.New("progress.proved", remark.Values{"proved": done, "loads": len(f.Craft.Loads)})
	return step
}

// proved reports whether there is a finished proof of a load, at the chosen spot
// if one is chosen.
func (f Folder) proved(load string) bool {
	for _, r := range f.Runs {
		if r.Header.State == load && evaluate.IsProof(f.Craft, r) && f.there(r) && len(r.Valid()) > 0 && r.Finished() {
			return true
		}
	}
	return false
}

// samePlaceMM is how far two places of one spot may be apart.
const samePlaceMM = 1

// there reports whether a proof was captured at the chosen spot. An imported
// one does not say where.
func (f Folder) there(r *logbook.Run) bool {
	if f.Choice == nil || len(r.Header.Extra) == 0 {
		return true
	}
	return r3.Norm(r3.Sub(rank.ChosenMount(f.Choice).Foot(), r.Header.Extra[0].At)) <= samePlaceMM
}

// finish returns the checks of the glued module: arrow, calibration, swing.
func (f Folder) finish() []Step {
	arrow := f.check(Step{Kind: Arrow, Minutes: minutesArrow}, logbook.SwingArrow)
	onCraft := Step{Kind: OnCraft, Minutes: minutesCalibrate, Detail: remark.New("progress.not-on-craft")}
	swing := Step{Kind: Swing, Minutes: minutesSwing}
	if n := len(f.OnCraft); n > 0 {
		swing.Calibration = f.OnCraft[n-1]
		onCraft.Done, onCraft.Detail = true, calibrated(swing.Calibration)
	}
	return []Step{arrow, onCraft, f.check(swing, logbook.SwingHeadings)}
}

// check completes the step of an arrow check or a swing: it is done when the
// newest one at the chosen spot was walked to its end.
func (f Folder) check(step Step, what string) Step {
	step.Detail = remark.New("progress.not-yet")
	for _, s := range f.Swings {
		if s.Swing.What != what || f.elsewhere(s) {
			continue
		}
		n := len(s.Valid())
		step.Done = n > 0 && s.Finished()
		step.Begun = n > 0 && !step.Done
		step.Detail = remark.New("progress.check", remark.Values{"captures": n, "day": s.Header.Started.Format(time.DateOnly), "ended": step.Done})
	}
	step.Resume = step.Begun
	return step
}

// elsewhere reports whether a check was taken with the module at another spot
// than the chosen one. An arrow check from before a spot was chosen was about
// the axes; a swing that does not say where is taken as it is.
func (f Folder) elsewhere(s *logbook.SwingFile) bool {
	at := s.Swing.Spot
	switch {
	case f.Choice == nil:
		return false
	case at == nil:
		return s.Swing.What == logbook.SwingArrow
	}
	foot := rank.Mount{At: r3.Vec{X: at.XMM, Y: at.YMM, Z: at.ZMM}, HeightMM: at.HeightMM}.Foot()
	return r3.Norm(r3.Sub(foot, rank.ChosenMount(f.Choice).Foot())) > samePlaceMM
}
