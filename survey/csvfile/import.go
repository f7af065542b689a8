package csvfile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/disk"
	"quietmount/survey/logbook"
	"quietmount/survey/number"
)

// Options is what a CSV file cannot say about its run.
type Options struct {
	State       string          // background, unpowered or the name of a load
	CurrentA    *float64        // while on; nil: not stated
	Pulsed      bool            // the load went on and off during each dwell
	Substitute  bool            // a supply or a resistor took the motor's place
	Rhythm      *logbook.Rhythm // of a pulsed run whose rows do not say when the load was on; nil: logbook.DefaultRhythm
	Axes        *magmath.Mat3
	NoseDeg     *float64  // magnetic direction of the nose, 0 to 360
	Session     string    // empty: the day of Started
	Started     time.Time // the moment of t_s = 0
	Calibration string    // ID of a stored calibration; empty: none
	Correction  *survey.Correction
	Probe       string             // what measured; empty: the craft file's measuring module
	Together    map[string]float64 // of a proof: loads that went on and off with State, and their currents, amperes
	Tool        string
}

// Imported is a run from elsewhere, not yet on the disk.
type Imported struct {
	Header   logbook.Header
	Captures []logbook.Capture
	Warnings []remark.Remark // what was assumed or left out: topic "import"
}

// restartGapS is the pause that is assumed between two captures whose own
// clocks both begin anew.
const restartGapS = 20

// Import reads one run from CSV. Each row is a sample: the columns capture,
// station, t_s, bx_ut, by_ut, bz_ut, and in any order ax_g ay_g az_g,
// current_a, load_on, x_mm y_mm z_mm, prompt_on (1 while the operator was told
// to have the load on). Columns are separated by commas, tabs or semicolons;
// decimal commas are taken with the latter two. Rows with one capture number are one
// dwell. A field left empty was not sent.
//
// Samples are kept as they are in the file. They are in the craft frame unless
// o.Axes says how to turn them. t_s may run on through the file or begin anew
// in each capture; in the latter case the captures are placed one after the
// other with an assumed pause, and a warning says so.
//
// craft gives places to the stations and bounds to the loads; with nil every
// station needs its place in the file and any state is taken. Everything wrong
// in the file is a *Error with line and column. It wraps the error of ctx once
// that has ended.
func Import(ctx context.Context, r io.Reader, name string, o Options, craft *survey.Craft) (*Imported, error) {
	h, warnings, err := o.header(craft)
	if err != nil {
		return nil, err
	}
	t, err := openRun(disk.Reader(ctx, r), name)
	if err != nil {
		return nil, err
	}
	p := importReader{Table: t, columns: survey.Columns(), stations: craft.StationsByName(), at: map[int]int{}, prompt: map[int]bool{}}
	if craft != nil && craft.Base != nil {
		p.base = craft.Base.Name
	}
	if err := p.rows(); err != nil {
		return nil, err
	}
	if len(p.captures) == 0 {
		return nil, &Error{File: name, Err: errors.New("a header but no samples")}
	}
	in := &Imported{Header: h, Captures: p.captures, Warnings: append(warnings, t.warnings...)}
	in.placeInTime(o.Started)
	if o.Pulsed {
		in.timePulses(o.Rhythm)
	}
	for i := range in.Captures {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("import %s: %w", name, err)
		}
		in.summarise(&in.Captures[i])
	}
	in.saturated(craft)
	return in, nil
}

// header checks the options against the craft.
func (o Options) header(craft *survey.Craft) (logbook.Header, []remark.Remark, error) {
	warnings, err := o.check(craft)
	if err != nil {
		return logbook.Header{}, nil, err
	}
	axes := magmath.Identity()
	if o.Axes != nil {
		axes = *o.Axes
	}
	session := o.Session
	if session == "" {
		session = o.Started.Format(time.DateOnly)
	}
	h := logbook.Header{
		State: o.State, Pulsed: o.Pulsed, Substitute: o.Substitute, Probe: o.Probe, Axes: &axes,
		Calibration: o.Calibration, Correction: o.Correction, Decoder: "csv", Tool: o.Tool, Started: o.Started,
		Session: session, NoseDeg: o.NoseDeg, Imported: true, Together: o.Together,
	}
	if craft != nil {
		h.Craft, h.CraftSHA256 = craft.Name, craft.SHA256
		if h.Probe == "" {
			h.Probe = craft.MeasuringModule().Name
		}
	}
	if o.CurrentA != nil {
		h.CurrentA = o.CurrentA
	}
	return h, warnings, nil
}

func (o Options) check(craft *survey.Craft) (warnings []remark.Remark, err error) {
	still := o.State == survey.StateBackground || o.State == survey.StateUnpowered
	if strings.TrimSpace(o.State) == "" {
		return nil, errors.New("the run needs a state: background, unpowered or the name of a load")
	}
	if craft != nil {
		if err := craft.State(o.State); err != nil {
			return nil, err
		}
	}
	switch {
	case o.CurrentA != nil && !(number.Finite(*o.CurrentA) && (*o.CurrentA >= 0 || o.Substitute)):
		return nil, fmt.Errorf("a current of %g A; give what flows while the load is on, zero or more; less is for a substitute whose polarity was reversed", *o.CurrentA)
	case still && o.CurrentA != nil && *o.CurrentA != 0:
		return nil, fmt.Errorf("a current of %g A in the state %s, in which nothing is on; name the load as the state", *o.CurrentA, o.State)
	case still && (o.Pulsed || o.Substitute):
		return nil, fmt.Errorf("the state %s has no load that could be pulsed or substituted; name the load as the state", o.State)
	case o.NoseDeg != nil && !(*o.NoseDeg >= 0 && *o.NoseDeg <= 360):
		return nil, fmt.Errorf("a nose direction of %g degrees; give 0 to 360, clockwise from magnetic north", *o.NoseDeg)
	case o.Axes != nil && !o.Axes.Finite():
		return nil, errors.New("the axes hold a value that is not a finite number")
	case o.Started.IsZero():
		return nil, errors.New("the run needs the time at which it was started")
	}
	if craft == nil || o.CurrentA == nil {
		return nil, nil
	}
	if load, ok := craft.LoadByName(o.State); ok && load.MaxCurrentA > 0 && *o.CurrentA > load.MaxCurrentA {
		warnings = append(warnings, remark.New("import.current-above-limit", remark.Values{"current_a": *o.CurrentA, "max_current_a": load.MaxCurrentA}).At(remark.Place{Load: load.Name}))
	}
	return warnings, nil
}

// placeInTime gives every capture its time.
func (in *Imported) placeInTime(started time.Time) {
	common := true
	last := math.Inf(-1)
	for _, c := range in.Captures {
		common = common && c.Samples[0].TS >= last
		last = c.Samples[len(c.Samples)-1].TS
	}
	at := 0.0
	for i := range in.Captures {
		c := &in.Captures[i]
		first, end := c.Samples[0].TS, c.Samples[len(c.Samples)-1].TS
		if common {
			at = first
		}
		c.Time = started.Add(seconds(at))
		at += end - first + restartGapS
	}
	if !common {
		in.Warnings = append(in.Warnings, remark.New("import.clock-restarts", remark.Values{"gap_s": restartGapS}))
	}
}

// seconds is s as a duration, held within what a duration can say.
func seconds(s float64) time.Duration {
	const most = 1e9 // some thirty years
	return time.Duration(min(max(s, -most), most) * float64(time.Second))
}

// timePulses settles how the levels of a pulsed run are told apart: by labels,
// by prompts in the file, or else by the rhythm, taken to begin with the first
// sample of each capture.
func (in *Imported) timePulses(r *logbook.Rhythm) {
	if in.Header.Rhythm = r; r == nil {
		in.Header.Rhythm = new(logbook.DefaultRhythm())
	}
	assumed := 0
	for i := range in.Captures {
		c := &in.Captures[i]
		labelled := slices.ContainsFunc(c.Samples, func(s survey.Sample) bool { return s.Has&(survey.HasLoadOn|survey.HasCurrent) != 0 })
		if labelled || len(c.Prompts) > 0 {
			continue
		}
		c.Prompts = prompts(in.Header.Rhythm, c.Samples[0].TS, c.Samples[len(c.Samples)-1].TS)
		assumed++
	}
	if assumed > 0 {
		r := in.Header.Rhythm
		in.Warnings = append(in.Warnings, remark.New("import.rhythm-assumed", remark.Values{
			"captures": assumed, "pulses": r.Pulses, "on_s": r.OnS, "off_s": r.OffS,
		}))
	}
}

// prompts are the switchings of the rhythm that fall between start and end.
func prompts(r *logbook.Rhythm, start, end float64) []logbook.Prompt {
	var out []logbook.Prompt
	for i := range 2 * min(r.Pulses, 1000) {
		ts := start + r.OffS + float64(i/2)*(r.OnS+r.OffS)
		if i%2 == 1 {
			ts += r.OnS
		}
		if ts > end {
			break
		}
		out = append(out, logbook.Prompt{TS: ts, On: i%2 == 0})
	}
	return out
}

// saturated warns of captures that the evaluation leaves out because the probe
// was at its full scale.
func (in *Imported) saturated(craft *survey.Craft) {
	if craft == nil {
		return
	}
	for i := range in.Captures {
		if why, unusable := in.Captures[i].AtFullScale(craft.MeasuringModule().RangeUT); unusable {
			in.Warnings = append(in.Warnings, why)
		}
	}
}

// summarise sets what a capture says of itself to people: the median of each
// component and the standard error of the mean over the three of them, taking
// the samples for independent. The evaluation starts from the samples.
func (in *Imported) summarise(c *logbook.Capture) {
	frame, n := in.Header.Frame(), len(c.Samples)
	var parts [3][]float64
	var sum, dev r3.Vec
	for i := range parts {
		parts[i] = make([]float64, 0, n)
	}
	for _, s := range c.Samples {
		b := frame.Field(s.B)
		parts[0], parts[1], parts[2] = append(parts[0], b.X), append(parts[1], b.Y), append(parts[2], b.Z)
		sum = r3.Add(sum, b)
	}
	mean := r3.Scale(1/float64(n), sum)
	for i := range n {
		d := r3.Sub(r3.Vec{X: parts[0][i], Y: parts[1][i], Z: parts[2][i]}, mean)
		dev = r3.Add(dev, r3.Vec{X: d.X * d.X, Y: d.Y * d.Y, Z: d.Z * d.Z})
	}
	c.BUT = r3.Vec{X: magmath.Median(parts[0]), Y: magmath.Median(parts[1]), Z: magmath.Median(parts[2])}
	if n > 1 {
		c.UncertaintyUT = math.Sqrt((dev.X + dev.Y + dev.Z) / 3 / float64(n-1) / float64(n))
	}
	if !number.Finite(c.BUT.X, c.BUT.Y, c.BUT.Z, c.UncertaintyUT) { // values near the end of the number range
		c.BUT, c.UncertaintyUT = r3.Vec{}, 0
	}
}

// Save writes the run into the craft folder dir under the next free number, whole
// or not at all, and returns it as it then is on the disk. It takes the folder's
// lock meanwhile. say words the warnings for the notes of the run.
func (in *Imported) Save(dir string, say func(remark.Remark) string) (*logbook.Run, error) {
	var notes []logbook.Note
	for _, w := range in.Warnings {
		notes = append(notes, logbook.Note{Kind: logbook.NoteWarning, Text: say(w), Time: in.Header.Started})
	}
	end := fmt.Sprintf("imported, %d captures", len(in.Captures))
	notes = append(notes, logbook.Note{Kind: logbook.NoteEnd, Text: end, Time: in.Header.Started})
	return logbook.SaveRun(dir, in.Header, in.Captures, notes)
}
