package live

import (
	"net/http"
	"path/filepath"
	"strings"

	"quietmount/survey"
	"quietmount/survey/standing"
)

// PathStep is one step of the numbered path and how it stands.
type PathStep struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
	State  string `json:"state"` // "done", "begun", "next" or "open"
	Detail string `json:"detail"`
}

// path tells the page how the steps stand.
func (s *Server) path(w http.ResponseWriter, _ *http.Request) {
	craft, steps := s.bench.pathSteps()
	s.replyJSON(w, http.StatusOK, map[string]any{"craft": craft, "steps": steps})
}

// pathSteps are the steps with their states, and the craft's name.
func (b *Bench) pathSteps() (craft string, steps []PathStep) {
	at, err := b.opts.Standing()
	if err != nil {
		at = nil
	}
	next := false
	for i, name := range stepNames() {
		step := PathStep{Number: i + 1, Name: name, State: "open"}
		if done, begun, detail := b.stepState(name, at); done {
			step.State, step.Detail = "done", detail
		} else {
			step.Detail = detail
			if begun {
				step.State = "begun"
			} else if !next && !optional(name) {
				step.State = "next"
			}
			next = next || !optional(name)
		}
		steps = append(steps, step)
	}
	if at != nil {
		craft = at.Craft
	}
	return craft, steps
}

// optional steps are offered and never asked for: marks can be drawn by hand.
func optional(step string) bool { return step == StepMark }

// stepState is how one step stands. A nil standing says that the craft file
// could not be read.
func (b *Bench) stepState(step string, at *standing.Standing) (done, begun bool, detail string) {
	switch step {
	case StepLink:
		p := b.probe.State()
		if p.Connected && p.Up {
			return true, false, filepath.Base(p.Port)
		}
		return false, p.Connected, b.words.must(lostOr(p.Connected))
	case StepMark:
		return false, false, b.words.must("path.mark")
	}
	if at == nil {
		if step == StepDescribe {
			return false, true, b.words.must("path.mend")
		}
		return false, false, b.words.must("path.describe_first")
	}
	return gathered(step, at, b)
}

func lostOr(connected bool) string {
	if connected {
		return "path.link_lost"
	}
	return "path.no_link"
}

// gathered joins the steps of the standing that belong to one of the path.
func gathered(step string, at *standing.Standing, b *Bench) (done, begun bool, detail string) {
	n, ready := 0, 0
	for _, s := range at.Steps {
		if !belongs(s, step) {
			continue
		}
		n++
		if s.Done {
			ready++
		}
		begun = begun || s.Begun || s.Done
		if detail == "" || !s.Done {
			detail = s.Detail
		}
	}
	switch {
	case n == 0 && at.Craft == "":
		return false, false, b.words.must("path.describe_first")
	case n == 0:
		return true, false, b.words.must("path.not_needed")
	case n > 1:
		detail = b.words.must("path.of", ready, n)
	}
	return ready == n, begun && ready < n, detail
}

// belongs reports whether a step of the job is part of one of the path. The map
// grows with every walk; seeing it is no step of its own in the job.
func belongs(s standing.Step, step string) bool {
	word := ""
	if f := strings.Fields(s.Command); len(f) > 1 {
		word = f[1]
	}
	switch step {
	case StepDescribe:
		return word == "init" || word == "verify"
	case StepCalibrate: // of the probe, its axes too
		return word == "calibrate" && !strings.Contains(s.Command, " --on-craft") || word == "arrow" && strings.Contains(s.Command, " --store")
	case StepRoom:
		return s.State == survey.StateBackground
	case StepWalk, StepMap:
		return s.State != "" && s.State != survey.StateBackground
	case StepChoose:
		return word == "rank"
	case StepProve:
		return word == "prove"
	case StepGlue:
		return word == "swing" || word == "arrow" && !strings.Contains(s.Command, " --store") || strings.Contains(s.Command, " --on-craft")
	case StepFile:
		return word == "record"
	}
	return false
}
