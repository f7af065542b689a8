package progress

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

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
func (f Folder) prove(at string) Step {
	step := Step{Name: "prove the spot before the glue"}
	next, done := "", 0
	for _, l := range f.Craft.Loads {
		switch {
		case f.proved(l.Name):
			done++
		case next == "":
			next = l.Name
		}
	}
	step.Done, step.Begun = next == "", done > 0 && next != ""
	step.Minutes = float64(minutesProof * (len(f.Craft.Loads) - done))
	step.Detail = fmt.Sprintf("%d of %s pulsed there", done, counted(len(f.Craft.Loads), "load"))
	step.Command = "quietmount prove" + at
	if next != "" {
		step.Command += " --state " + Quote(next) + " --port PORT"
	}
	return step
}

// proved looks for a proof of a load, at the chosen spot where one is chosen,
// that came to its end.
func (f Folder) proved(load string) bool {
	for _, r := range f.Runs {
		if r.Header.State == load && evaluate.IsProof(f.Craft, r) && f.there(r) && len(r.Valid()) > 0 && r.Finished() {
			return true
		}
	}
	return false
}

// samePlaceMM tells a spot from its neighbour.
const samePlaceMM = 1

// there reports whether a proof was captured at the chosen spot. An imported
// one does not say where.
func (f Folder) there(r *logbook.Run) bool {
	if f.Choice == nil || len(r.Header.Extra) == 0 {
		return true
	}
	return r3.Norm(r3.Sub(rank.ChosenMount(f.Choice).Foot(), r.Header.Extra[0].At)) <= samePlaceMM
}

// finish are the checks of the glued module: arrow, calibration, swing.
func (f Folder) finish(at string) []Step {
	onCraft := Step{
		Name: "calibrate the finished craft", Command: "quietmount calibrate" + at + " --on-craft --port PORT",
		Minutes: minutesCalibrate, Detail: "not yet: is the steady part what the map promised?",
	}
	calibration := ""
	if n := len(f.OnCraft); n > 0 {
		onCraft.Done, onCraft.Detail = true, "calibration "+f.OnCraft[n-1]
		calibration = " --calibration " + f.OnCraft[n-1]
	}
	return []Step{
		f.check("check the arrow, then glue", "quietmount arrow"+at+" --port PORT", minutesArrow, logbook.SwingArrow),
		onCraft,
		f.check("swing the craft", "quietmount swing"+at+calibration+" --port PORT", minutesSwing, logbook.SwingHeadings),
	}
}

// check is done when the newest check of its kind at the chosen spot was walked
// to its end.
func (f Folder) check(name, command string, minutes float64, what string) Step {
	step := Step{Name: name, Command: command, Minutes: minutes, Detail: "not yet"}
	for _, s := range f.Swings {
		if s.Swing.What != what || f.elsewhere(s) {
			continue
		}
		n := len(s.Valid())
		step.Done = n > 0 && s.Finished()
		step.Begun = n > 0 && !step.Done
		step.Detail = fmt.Sprintf("%s of %s, %s", counted(n, "capture"), s.Header.Started.Format("2006-01-02"), yesNo(step.Done, "ended", "stopped early"))
	}
	if step.Begun {
		step.Command = strings.Join(strings.Fields(command)[:2], " ") + folderWord(f.Dir) + " --resume --port PORT"
	}
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
