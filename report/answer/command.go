package answer

import (
	"fmt"

	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/progress"
)

// Command returns the command line for a step of the job of the folder dir.
// PORT and AMPERES are placeholders for the user's own values.
func Command(s progress.Step, dir string) string {
	at := ""
	if dir != "." && dir != "" {
		at = " " + words.Quote(dir)
	}
	switch s.Kind {
	case progress.Describe:
		if s.Done {
			return "quietmount verify" + at + " --picture description.png"
		}
		return "quietmount init" + at
	case progress.Calibrate:
		return "quietmount calibrate" + at + " --port PORT"
	case progress.Axes:
		probe := ""
		if s.Probe {
			probe = " --probe"
		}
		return "quietmount arrow" + at + " --quick --store" + probe + calibrationFlag(s) + " --port PORT"
	case progress.Walk:
		return "quietmount survey" + at + " --state " + words.Quote(s.State) + walkFlags(s) + " --port PORT"
	case progress.Choose:
		return "quietmount rank" + at
	case progress.Prove:
		if s.State == "" {
			return "quietmount prove" + at
		}
		return "quietmount prove" + at + " --state " + words.Quote(s.State) + " --port PORT"
	case progress.Arrow, progress.Swing:
		more := calibrationFlag(s)
		if s.Resume {
			more = " --resume"
		}
		return "quietmount " + string(s.Kind) + at + more + " --port PORT"
	case progress.OnCraft:
		return "quietmount calibrate" + at + " --on-craft --port PORT"
	case progress.Record:
		return "quietmount record" + at
	}
	return "quietmount" + at
}

func calibrationFlag(s progress.Step) string {
	if s.Calibration == "" {
		return ""
	}
	return " --calibration " + s.Calibration
}

// walkFlags returns the flags of a walk besides its state and port.
func walkFlags(s progress.Step) string {
	if s.Resume {
		return " --resume"
	}
	flags := ""
	if s.Load != nil && s.Load.Kind == survey.LoadCurrent {
		flags += " --current-a AMPERES"
	}
	if s.Load != nil {
		flags += " --pulsed"
	}
	if s.Most > 0 {
		flags += fmt.Sprintf(" --most %d", s.Most)
	}
	return flags
}
