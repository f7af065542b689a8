package standing

import (
	"fmt"
	"slices"

	"quietmount/survey"
)

// Minutes of the checks of a finished craft: common practice, no source.
const (
	minutesArrow = 5
	minutesSwing = 10
)

// Finish puts the arrow check and the swing into the list, before the record
// sheet. swings are the files of the folder's swing folder. A folder without a
// craft stays as it is.
func (s *Standing) Finish(dir string, swings []*survey.SwingFile) {
	if s.Craft == "" && len(s.Steps) < 3 {
		return
	}
	at := folderWord(dir)
	s.Steps = slices.Insert(s.Steps, len(s.Steps)-1,
		finishStep("check the arrow, then glue", "quietmount arrow"+at+" --port PORT", minutesArrow, survey.SwingArrow, swings),
		finishStep("swing the craft", "quietmount swing"+at+" --port PORT", minutesSwing, survey.SwingHeadings, swings))
}

// finishStep is done when a check of its kind was walked to its end.
func finishStep(name, command string, minutes float64, what string, swings []*survey.SwingFile) Step {
	step := Step{Name: name, Command: command, Minutes: minutes, Detail: "not yet"}
	for _, f := range swings {
		if f.Swing.What != what {
			continue
		}
		n := len(f.Valid())
		step.Begun, step.Done = n > 0 && !f.Ended, n > 0 && f.Ended
		step.Detail = fmt.Sprintf("%s of %s, %s", counted(n, "capture"), f.Header.Started.Format("2006-01-02"), yesNo(f.Ended, "ended", "stopped early"))
	}
	return step
}
