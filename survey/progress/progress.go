// Package progress finds where the job of a craft folder stands: which steps are
// done, which comes next, and the minutes that are left. In comes a Folder as
// Read finds it, out goes a Job; nothing is written. The command line of a step is
// made in report/answer, its place on the page in report/live. Start at Of.
package progress

import (
	"context"
	"errors"
	"math"
	"slices"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// Kind sorts the steps of the job.
type Kind string

// The kinds, in the order of the job.
const (
	Describe  Kind = "describe"  // the craft file is written
	Calibrate Kind = "calibrate" // the probe by itself, away from the craft
	Axes      Kind = "axes"      // which way the probe's axes point
	Walk      Kind = "walk"      // a run over the stations; one step for each State
	Choose    Kind = "choose"    // a spot
	Prove     Kind = "prove"     // the chosen spot, before the glue; State is the next load
	Arrow     Kind = "arrow"     // the arrow check, before the glue
	OnCraft   Kind = "on-craft"  // the calibration of the finished craft
	Swing     Kind = "swing"     // of the finished craft
	Record    Kind = "record"    // the record sheet
)

// Step is one step of the job.
type Step struct {
	Kind        Kind
	State       string        // Walk, Prove: what is measured; empty if no load is left to prove
	Load        *survey.Load  // Walk: the load of State; nil for background and unpowered
	Probe       bool          // Axes: those of a probe besides the module
	Calibration string        // Axes, Swing: ID of the stored calibration to apply; empty: none
	Done        bool          // nothing is left to do
	Begun       bool          // something is there, and it is not finished
	Resume      bool          // Walk, Arrow, Swing: what was begun can be resumed
	Detail      remark.Remark // what is there; zero: nothing to say
	Most        int           // Walk: stations that are proposed; 0: all that the state has
	Minutes     float64       // what it takes, from the plan or from practice
}

// Job is the list of steps in the order of the job.
type Job struct {
	Craft string
	Steps []Step
	Notes []remark.Remark // what the description lacks, and runs with another craft file
}

// Next returns the first step that is not done; nil when all are.
func (s *Job) Next() *Step {
	for i := range s.Steps {
		if !s.Steps[i].Done {
			return &s.Steps[i]
		}
	}
	return nil
}

// Minutes returns what the steps that are not done will take together.
func (s *Job) Minutes() float64 {
	var sum float64
	for _, step := range s.Steps {
		if !step.Done {
			sum += step.Minutes
		}
	}
	return sum
}

// minutes of the steps that no plan times: common practice, no source.
const (
	minutesDescribe = 15
	minutesAnswers  = 2
	minutesSheet    = 3
)

// Folder is what a craft folder holds.
type Folder struct {
	Dir      string
	Craft    *survey.Craft // nil: there is no craft file yet
	Runs     []*logbook.Run
	Swings   []*logbook.SwingFile
	Choice   *logbook.Choice // nil: no spot is chosen
	Loose    []string        // IDs of the calibrations of a probe by itself
	OnCraft  []string        // IDs of those of the finished craft
	Recorded bool            // a record sheet has been written
}

// Read reads a craft folder; a folder without a craft file is no error.
// recorded says that a record sheet has been written.
func Read(ctx context.Context, dir string, recorded bool) (Folder, error) {
	f := Folder{Dir: dir, Recorded: recorded}
	var err error
	f.Craft, err = craftfile.Load(dir)
	if _, missing := errors.AsType[*craftfile.MissingError](err); missing {
		return Folder{Dir: dir}, nil
	}
	if err != nil {
		return f, err
	}
	if f.Runs, err = logbook.LoadRuns(ctx, dir); err != nil {
		return f, err
	}
	if f.Swings, err = logbook.LoadSwings(dir); err != nil {
		return f, err
	}
	if f.Choice, err = logbook.Chosen(dir); err != nil {
		return f, err
	}
	return f, f.calibrations()
}

func (f *Folder) calibrations() error {
	ids, err := logbook.CalibrationIDs(f.Dir)
	if err != nil {
		return err
	}
	for _, id := range ids {
		c, err := logbook.LoadCalibration(f.Dir, id)
		switch {
		case err != nil:
			return err
		case c.OnCraft:
			f.OnCraft = append(f.OnCraft, id)
		default:
			f.Loose = append(f.Loose, id)
		}
	}
	return nil
}

// Of returns where the job of a folder stands.
func Of(f Folder) *Job {
	craft := f.Craft
	if craft == nil {
		return &Job{Steps: []Step{{Kind: Describe, Minutes: minutesDescribe, Detail: remark.New("progress.no-craft")}}}
	}
	walks := slices.DeleteFunc(slices.Clone(f.Runs), func(r *logbook.Run) bool { return evaluate.IsProof(craft, r) })
	described := remark.New("progress.described", remark.Values{
		"stations": len(craft.Stations()), "base": craft.Base != nil, "loads": len(craft.Loads),
	})
	j := &Job{Craft: craft.Name, Notes: notes(craft, walks)}
	j.Steps = append(j.Steps,
		Step{Kind: Describe, Done: true, Minutes: minutesDescribe, Detail: described},
		f.calibrate(len(walks) > 0), f.axes(len(walks) > 0),
		walk(craft, walks, survey.StateBackground, nil), walk(craft, walks, survey.StateUnpowered, nil))
	for i := range craft.Loads {
		j.Steps = append(j.Steps, walk(craft, walks, craft.Loads[i].Name, &craft.Loads[i]))
	}
	j.Steps = append(j.Steps, f.choose(j.Next() == nil))
	if len(craft.Loads) > 0 {
		j.Steps = append(j.Steps, f.prove())
	}
	j.Steps = append(j.Steps, f.finish()...)
	record := Step{Kind: Record, Done: f.Recorded, Minutes: minutesSheet, Detail: remark.New("progress.not-recorded")}
	if f.Recorded {
		record.Detail = remark.New("progress.recorded")
	}
	j.Steps = append(j.Steps, record)
	return j
}

// walk returns the step of one state: the newest run of that state tells how far
// it is.
func walk(craft *survey.Craft, runs []*logbook.Run, state string, load *survey.Load) Step {
	step := Step{Kind: Walk, State: state, Load: load}
	if route, short, err := planned(craft, state, load); err == nil {
		step.Minutes = math.Ceil(route.Minutes())
		if short {
			step.Most = route.Stations()
		}
		step.Detail = remark.New("progress.to-walk", remark.Values{"captures": len(route.Visits), "most": step.Most})
	}
	r := logbook.Newest(runs, state)
	if r == nil {
		return step
	}
	step.Done = len(r.Valid()) > 0 && r.Finished()
	step.Begun, step.Resume = !step.Done, !step.Done
	if open := logbook.Unfinished(runs, state); step.Resume && open != nil {
		r = open
	}
	step.Detail = remark.New("progress.run", remark.Values{"captures": len(r.Valid()), "finished": step.Done}).At(remark.Place{Run: r.Header.Run})
	return step
}

// A pulsed walk over every station that takes longer than longMinutes is
// proposed over the fewStations that cover the craft best: with the few more
// that the ranking asks for it tells nearly as much, and motors and packs stay
// cool. Common practice, no source.
const (
	longMinutes = 20
	fewStations = 12
)

// planned returns the walk to propose for a state; short reports whether it leaves
// stations out.
func planned(craft *survey.Craft, state string, load *survey.Load) (route guide.Route, short bool, err error) {
	o := guide.PlanOptions{State: state, Pulsed: load != nil}
	route, err = guide.Plan(craft, o)
	if err != nil || load == nil || route.Minutes() <= longMinutes || route.Stations() <= fewStations {
		return route, false, err
	}
	o.Most = fewStations
	route, err = guide.Plan(craft, o)
	return route, true, err
}

// notes returns what the description lacks, and how many runs were taken with
// another version of it.
func notes(craft *survey.Craft, runs []*logbook.Run) []remark.Remark {
	var out []remark.Remark
	if craft.Base == nil {
		out = append(out, remark.New("progress.no-base"))
	}
	if craft.MeasuringModule().Axes == nil {
		out = append(out, remark.New("progress.no-axes"))
	}
	if len(craft.Loads) == 0 {
		out = append(out, remark.New("progress.no-load"))
	}
	other := 0
	for _, r := range runs {
		if r.Header.CraftSHA256 != "" && r.Header.CraftSHA256 != craft.SHA256 {
			other++
		}
	}
	if other > 0 {
		out = append(out, remark.New("progress.earlier-craft", remark.Values{"earlier": other, "runs": len(runs)}))
	}
	return out
}
