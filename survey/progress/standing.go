// Package standing says where the job of a craft folder stands: which steps
// are done, what the next command is, and the minutes it takes. It reads what
// it is given and writes nothing.
package progress

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// Step is one step of the job.
type Step struct {
	Name    string  // what is to be done
	State   string  // of the run, for a walk; else empty
	Done    bool    // nothing is left to do
	Begun   bool    // a run was begun and not finished
	Detail  string  // what is there, in a few words
	Command string  // the command that does it
	Most    int     // stations that a walk is proposed over; 0: all that the state has
	Minutes float64 // what it takes, from the plan or from practice
}

// Standing is the list of steps in the order of the job.
type Standing struct {
	Craft string
	Steps []Step
	Notes []string // what the description lacks, and runs that answer to another craft file
}

// Next is the first step that is not done; nil when all are.
func (s *Standing) Next() *Step {
	for i := range s.Steps {
		if !s.Steps[i].Done {
			return &s.Steps[i]
		}
	}
	return nil
}

// Minutes is what the steps that are not done will take together.
func (s *Standing) Minutes() float64 {
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
	Dir      string        // how the commands shall name it; "." is left out of them
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
func Read(dir string, recorded bool) (Folder, error) {
	f := Folder{Dir: dir, Recorded: recorded}
	var err error
	f.Craft, err = craftfile.Load(dir)
	if _, missing := errors.AsType[*craftfile.MissingError](err); missing {
		return Folder{Dir: dir}, nil
	}
	if err != nil {
		return f, err
	}
	if f.Runs, err = logbook.LoadRuns(dir); err != nil {
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

// Of says where the job of a folder stands.
func Of(f Folder) *Standing {
	at, craft := folderWord(f.Dir), f.Craft
	if craft == nil {
		return &Standing{Steps: []Step{{
			Name: "describe the craft", Command: "quietmount init" + at, Minutes: minutesDescribe,
			Detail: "no craft file here yet",
		}}}
	}
	walks := slices.DeleteFunc(slices.Clone(f.Runs), func(r *logbook.Run) bool { return evaluate.IsProof(craft, r) })
	s := &Standing{Craft: craft.Name}
	s.Steps = append(s.Steps, Step{
		Name: "describe the craft", Done: true, Minutes: minutesDescribe,
		Detail:  described(craft),
		Command: "quietmount verify" + at + " --picture description.png",
	})
	s.Steps = append(s.Steps, f.calibrate(at, len(walks) > 0), f.axes(at, len(walks) > 0))
	s.Steps = append(s.Steps, walk(at, craft, walks, survey.StateBackground, nil))
	s.Steps = append(s.Steps, walk(at, craft, walks, survey.StateUnpowered, nil))
	for i := range craft.Loads {
		s.Steps = append(s.Steps, walk(at, craft, walks, craft.Loads[i].Name, &craft.Loads[i]))
	}
	s.Steps = append(s.Steps, f.choose(at, s.Next() == nil))
	if len(craft.Loads) > 0 {
		s.Steps = append(s.Steps, f.prove(at))
	}
	s.Steps = append(s.Steps, f.finish(at)...)
	s.Steps = append(s.Steps, Step{Name: "write the record sheet", Done: f.Recorded, Minutes: minutesSheet,
		Command: "quietmount record" + at, Detail: yesNo(f.Recorded, "there is one", "not written yet")})
	s.Notes = notes(craft, walks)
	return s
}

func yesNo(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// folderWord names the folder in a command line, quoted where a shell would
// split it.
func folderWord(dir string) string {
	if dir == "." || dir == "" {
		return ""
	}
	return " " + Quote(dir)
}

// Quote puts a word between quotes if it holds anything but letters, digits
// and the plain marks of file names.
func Quote(word string) string {
	plain := strings.IndexFunc(word, func(r rune) bool {
		return !(r == '/' || r == '.' || r == '-' || r == '_' || r == '\\' || r == ':' ||
			r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z')
	}) < 0
	if plain && word != "" {
		return word
	}
	return `"` + word + `"`
}

func described(craft *survey.Craft) string {
	d := counted(len(craft.Stations()), "station")
	if craft.Base == nil {
		d += ", no base station"
	}
	return d + ", " + counted(len(craft.Loads), "load")
}

func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// walk is the step of one state: the newest run of that state tells how far
// it is.
func walk(at string, craft *survey.Craft, runs []*logbook.Run, state string, load *survey.Load) Step {
	step := Step{Name: walkName(state, load), State: state, Command: walkCommand(at, state, load, "")}
	if route, short, err := planned(craft, state, load); err == nil {
		step.Minutes = math.Ceil(route.Minutes())
		step.Detail = fmt.Sprintf("%d captures to take", len(route.Visits))
		if short {
			step.Detail += fmt.Sprintf(", at the %d stations that cover the craft best", route.Stations())
			step.Most = route.Stations()
			step.Command = walkCommand(at, state, load, fmt.Sprintf(" --most %d", step.Most))
		}
	}
	for _, r := range runs {
		if r.Header.State != state {
			continue
		}
		taken := len(r.Valid())
		step.Detail = fmt.Sprintf("run %d, %s", r.Header.Run, counted(taken, "capture"))
		step.Done = taken > 0 && r.Finished()
		step.Begun = !step.Done
	}
	if step.Begun {
		step.Command = fmt.Sprintf("quietmount survey%s --state %s --resume --port PORT", at, Quote(state))
		step.Detail += ", not finished"
	}
	return step
}

func walkName(state string, load *survey.Load) string {
	switch {
	case state == survey.StateBackground:
		return "measure the background, the craft away"
	case state == survey.StateUnpowered:
		return "walk the stations, the craft in place, everything off"
	case load.Kind == survey.LoadMoving:
		return "walk the stations moving " + state
	}
	return "walk the stations pulsing " + state
}

func walkCommand(at, state string, load *survey.Load, more string) string {
	c := fmt.Sprintf("quietmount survey%s --state %s", at, Quote(state))
	if load == nil {
		return c + more + " --port PORT"
	}
	if load.Kind == survey.LoadCurrent {
		c += " --current-a AMPERES"
	}
	return c + " --pulsed" + more + " --port PORT"
}

// A pulsed walk over every station that takes longer than longMinutes is
// proposed over the fewStations that cover the craft best: with the few more
// that the ranking asks for it tells nearly as much, and motors and packs stay
// cool. Common practice, no source.
const (
	longMinutes = 20
	fewStations = 12
)

// planned is the walk to propose for a state; short says that it leaves
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

func notes(craft *survey.Craft, runs []*logbook.Run) []string {
	var out []string
	if craft.Base == nil {
		out = append(out, "the craft file names no base station: drift of the room cannot be seen; add [base]")
	}
	if craft.Measures().Axes == nil {
		out = append(out, "the probe's axes are not stated: directions, and so heading errors, cannot be trusted; add axes to the craft file")
	}
	if len(craft.Loads) == 0 {
		out = append(out, "no load is described: the shifting part, the one that no calibration removes, will stay unknown; add [[load]]")
	}
	other := 0
	for _, r := range runs {
		if r.Header.CraftSHA256 != "" && r.Header.CraftSHA256 != craft.SHA256 {
			other++
		}
	}
	if other > 0 {
		out = append(out, fmt.Sprintf("%d of %d runs were taken with an earlier version of the craft file", other, len(runs)))
	}
	return out
}
