package live

import (
	"path/filepath"
	"slices"

	"quietmount/report/live/serve"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/progress"
)

// The steps of the path.
const (
	stepDescribe  = "Describe"
	stepMark      = "Mark"
	stepLink      = "Link"
	stepRoom      = "Room"
	stepCalibrate = "Calibrate"
	stepWalk      = "Walk"
	stepMap       = "Map"
	stepChoose    = "Choose"
	stepProve     = "Prove"
	stepGlue      = "Glue"
	stepFile      = "File"
)

func stepNames() []string {
	return []string{
		stepDescribe, stepMark, stepLink, stepRoom, stepCalibrate, stepWalk,
		stepMap, stepChoose, stepProve, stepGlue, stepFile,
	}
}

// path returns the craft's name and the steps with their states.
func (b *bench) path() (craft string, steps []serve.Step) {
	at, err := b.Job()
	if err != nil {
		at = nil
	}
	next := false
	for i, name := range stepNames() {
		done, begun, detail := b.stepState(name, at)
		step := serve.Step{Number: i + 1, Name: name, State: "open", Detail: detail}
		optional := name == stepMark // marks can be drawn by hand
		switch {
		case done:
			step.State = "done"
		case begun:
			step.State = "begun"
		case !next && !optional:
			step.State = "next"
		}
		next = next || !done && !optional
		steps = append(steps, step)
	}
	if at != nil {
		craft = at.Craft
	}
	return craft, steps
}

// stepState returns the state of one step. at is nil if the craft file could not be
// read.
func (b *bench) stepState(step string, at *progress.Job) (done, begun bool, detail string) {
	switch step {
	case stepLink:
		p := b.work.Probe.State()
		if p.Connected && p.Up {
			return true, false, filepath.Base(p.Port)
		}
		if p.Connected {
			return false, true, b.Words("path.link_lost")
		}
		return false, false, b.Words("path.no_link")
	case stepMark:
		return false, false, b.Words("path.mark")
	}
	if at == nil {
		if step == stepDescribe {
			return false, true, b.Words("path.mend")
		}
		return false, false, b.Words("path.describe_first")
	}
	return b.gathered(step, at)
}

// gathered joins the steps of the job that belong to one step of the path.
func (b *bench) gathered(step string, at *progress.Job) (done, begun bool, detail string) {
	n, ready := 0, 0
	for _, s := range at.Steps {
		if !slices.Contains(placesOf(s), step) {
			continue
		}
		n++
		if s.Done {
			ready++
		}
		begun = begun || s.Begun || s.Done
		if detail == "" || !s.Done {
			detail = words.Page.Say(s.Detail)
		}
	}
	switch {
	case n == 0 && at.Craft == "":
		return false, false, b.Words("path.describe_first")
	case n == 0:
		return true, false, b.Words("path.not_needed")
	case n > 1:
		detail = b.Words("path.of", ready, n)
	}
	return ready == n, begun && ready < n, detail
}

// placesOf returns the steps of the path that a step of the job belongs to. Every
// walk adds to the map.
func placesOf(s progress.Step) []string {
	switch s.Kind {
	case progress.Describe:
		return []string{stepDescribe}
	case progress.Calibrate, progress.Axes:
		return []string{stepCalibrate}
	case progress.Walk:
		if s.State == survey.StateBackground {
			return []string{stepRoom}
		}
		return []string{stepWalk, stepMap}
	case progress.Choose:
		return []string{stepChoose}
	case progress.Prove:
		return []string{stepProve}
	case progress.Arrow, progress.OnCraft, progress.Swing:
		return []string{stepGlue}
	case progress.Record:
		return []string{stepFile}
	}
	return nil
}
