// Package compare finds what changed on a craft between two surveys, and whether
// the chosen spot is still good.
//
// In come a craft, all runs of its folder and the runs named for each survey; out
// goes a Comparison. magmath/change has the statistics; this package pairs the
// stations, gathers the uncertainties and judges the spot. Start reading at
// Compare; select.go chooses the runs that go with those named, verdict.go finds
// the sources of a change and judges the spot.
package compare

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	resurvey "quietmount/magmath/change"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Options are those of Compare.
type Options struct {
	Part     string      // PartSteady or a load's name; empty: what the named runs have in common, the steady part first
	Spot     *rank.Mount // to judge; nil: the first spot of the ranking before
	Evaluate evaluate.Options
}

// PartSteady names the steady part; other parts have the name of their load.
const PartSteady = evaluate.PartSteady

// StationChange is one station of a comparison.
type StationChange struct {
	Station survey.Station
	Sensor  r3.Vec
	Before  r3.Vec // the compared part, craft frame, microtesla
	After   r3.Vec
	Test    resurvey.Station
}

// Comparison is the difference between two surveys of a craft.
type Comparison struct {
	Before, After *evaluate.Findings
	Part          string
	Raw           bool // fields, not disturbances: one side or both lack a background
	Stations      []StationChange
	Result        *resurvey.Result
	AmbientTurn   float64         // part of the ambient field that differs between the surveys: what magnetises iron otherwise; 0: none known
	Fitted        []remark.Remark // differences in what was fitted
	Sources       []ChangeSource
	Verdict       *Verdict // nil: nothing could be ranked before
	Notes         []remark.Remark
}

// ErrNothingInCommon is returned if the two surveys share no state or no station.
var ErrNothingInCommon = errors.New("the two surveys have nothing in common to compare")

// Compare returns what changed on the craft between the runs named before and
// those named after; all holds the runs of the folder. It compares what was
// fitted, removes a uniform change and a small turn common to all stations, and
// tests what is left station by station. A uniform change of the craft itself
// cannot be detected.
//
// The errors are ErrNothingInCommon, wrapped, and those of evaluate.Solved.
func Compare(ctx context.Context, craft *survey.Craft, all, before, after []*logbook.Run, o Options) (*Comparison, error) {
	part, err := partInCommon(craft, before, after, o.Part)
	if err != nil {
		return nil, err
	}
	left, right := SelectRuns(all, before, after)
	b, err := evaluate.Evaluate(ctx, craft, left, o.Evaluate)
	if err != nil {
		return nil, fmt.Errorf("before: %w", err)
	}
	a, err := evaluate.Evaluate(ctx, craft, right, o.Evaluate)
	if err != nil {
		return nil, fmt.Errorf("after: %w", err)
	}
	c := &Comparison{Before: b, After: a, Part: part}
	c.compareFitted(before, after)
	c.compareNoses(before, after)
	data, err := c.differences()
	if err != nil {
		return nil, err
	}
	c.Result, err = resurvey.Compare(ctx, data, c.priors())
	if err != nil {
		return nil, fmt.Errorf("compare: %w", err)
	}
	c.takeTests()
	c.findSources(ctx, data)
	c.judge(ctx, o.Spot)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("compare: %w", err)
	}
	c.Notes = append(c.Notes, remark.New("compare.uniform_unseen"))
	return c, nil
}

// partInCommon returns the part to compare: the one asked for, else the first that
// the named runs of both surveys contain.
func partInCommon(craft *survey.Craft, before, after []*logbook.Run, asked string) (string, error) {
	has := func(runs []*logbook.Run, state string) bool {
		return slices.ContainsFunc(runs, func(r *logbook.Run) bool { return r.Header.State == state })
	}
	if asked != "" && asked != PartSteady {
		if _, ok := craft.LoadByName(asked); !ok {
			return "", fmt.Errorf("no load %q in the craft file: a part is steady or a load's name", asked)
		}
		return asked, nil
	}
	if asked == PartSteady || (has(before, survey.StateUnpowered) && has(after, survey.StateUnpowered)) {
		return PartSteady, nil
	}
	for _, l := range craft.Loads {
		if has(before, l.Name) && has(after, l.Name) {
			return l.Name, nil
		}
	}
	return "", fmt.Errorf("%w: runs of one state are compared, unpowered or the same load, not %s with %s", ErrNothingInCommon, states(before), states(after))
}

func states(runs []*logbook.Run) string {
	var out []string
	for _, r := range runs {
		if !slices.Contains(out, r.Header.State) {
			out = append(out, r.Header.State)
		}
	}
	return strings.Join(out, " and ")
}

// compareFitted notes what was fitted in one survey only.
func (c *Comparison) compareFitted(before, after []*logbook.Run) {
	b, a := fitted(before), fitted(after)
	if (len(b) == 0) != (len(a) == 0) {
		side := "after"
		if len(b) == 0 {
			side = "before"
		}
		c.Fitted = append(c.Fitted, remark.New("compare.fitted_unknown", remark.Values{"side": side, "fitted": append(b, a...)}))
		return
	}
	for _, x := range b {
		if !slices.Contains(a, x) {
			c.Fitted = append(c.Fitted, remark.New("compare.fitted_before", remark.Values{"fitted": x}))
		}
	}
	for _, x := range a {
		if !slices.Contains(b, x) {
			c.Fitted = append(c.Fitted, remark.New("compare.fitted_after", remark.Values{"fitted": x}))
		}
	}
}

func fitted(runs []*logbook.Run) []string {
	var out []string
	for _, r := range runs {
		for _, x := range r.Header.Fitted {
			if !slices.Contains(out, x) {
				out = append(out, x)
			}
		}
	}
	return out
}

func (c *Comparison) compareNoses(before, after []*logbook.Run) {
	for _, b := range before {
		for _, a := range after {
			if logbook.NosesDiffer(b.Header.NoseDeg, a.Header.NoseDeg) {
				c.Notes = append(c.Notes, remark.New("compare.noses", remark.Values{"before_deg": *b.Header.NoseDeg, "after_deg": *a.Header.NoseDeg}))
				return
			}
		}
	}
}

// differences pairs the stations that both sides measured at the same place.
func (c *Comparison) differences() (resurvey.Data, error) {
	var before, after []evaluate.Captured
	others := c.After.Captured(c.Part)
	for _, b := range c.Before.Captured(c.Part) {
		i := slices.IndexFunc(others, b.SamePlace)
		if i < 0 {
			continue
		}
		a := others[i]
		c.Raw = c.Raw || c.Part == PartSteady && !(b.Disturbance && a.Disturbance)
		before, after = append(before, b), append(after, a)
		c.Stations = append(c.Stations, StationChange{Station: b.Station, Sensor: b.Sensor})
	}
	if len(before) == 0 {
		return resurvey.Data{}, fmt.Errorf("%w: no station was captured at the same place on both sides in the %s part", ErrNothingInCommon, c.Part)
	}
	if c.Raw {
		c.Notes = append(c.Notes, remark.New("compare.no_background"))
	}
	return c.joint(before, after), nil
}

// joint returns the differences at the paired stations with their joint covariance.
// To the errors of either survey, in which the factor of a run's amperes is common to
// all stations, come the turn of what iron the ambient field magnetises, and the long
// slips.
func (c *Comparison) joint(before, after []evaluate.Captured) resurvey.Data {
	meanB, covB := c.Before.Joint(before)
	meanA, covA := c.After.Joint(after)
	cov := mat.NewSymDense(3*len(before), nil)
	cov.AddSym(covB, covA)
	d := resurvey.Data{Cov: cov, Before: meanB}
	if c.Part == PartSteady {
		c.AmbientTurn = c.ambientTurn()
	}
	for i, b := range before {
		a := after[i]
		c.Stations[i].Before, c.Stations[i].After = meanB[i], meanA[i]
		d.At = append(d.At, b.Sensor)
		d.Diff = append(d.Diff, r3.Sub(meanA[i], meanB[i]))
		placing := b.Miss.Scale(b.PlaceMM * b.PlaceMM).Add(a.Miss.Scale(a.PlaceMM * a.PlaceMM)).Trace()
		total := cov.At(3*i, 3*i) + cov.At(3*i+1, 3*i+1) + cov.At(3*i+2, 3*i+2)
		d.Freedom = append(d.Freedom, freedom(placing/total))
		d.Slips = append(d.Slips, b.Miss.Add(a.Miss).Scale(longSlipMM*longSlipMM))
		v := math.Pow(inducedPart*c.AmbientTurn*r3.Norm(meanB[i]), 2)
		magmath.AddBlock(cov, 3*i, 3*i, magmath.Diagonal(v, v, v))
	}
	return d
}

// longSlipMM is the standard deviation of a long slip along each axis: one of 10 mm
// is then two standard deviations, and the ordinary scatter of the hand comes on top.
// Common practice, no source.
const longSlipMM = 5

// inducedPart is the part of a steady disturbance that iron magnetised by the ambient
// field makes, as the standard deviation of a component: on simulated craft with
// screws, motor bells and packs of steel it is 0.01 at half of the stations and 0.4 at
// one in a hundred.
const inducedPart = 0.2

// ambientTurn returns by how much the ambient field in the craft frame differs between
// the surveys, in parts of itself: from the rooms as measured, else from the stated
// directions of the nose. Of several set-ups the nearest two count.
func (c *Comparison) ambientTurn() float64 {
	h, f := c.Before.HUT, c.Before.Reference.F/1000
	most := 0.0
	for _, a := range c.After.Rooms {
		least := math.Inf(1)
		for _, b := range c.Before.Rooms {
			switch {
			case a.FieldUT != nil && b.FieldUT != nil:
				least = min(least, r3.Norm(r3.Sub(*a.FieldUT, *b.FieldUT))/r3.Norm(*b.FieldUT))
			case a.NoseDeg != nil && b.NoseDeg != nil:
				half := (*a.NoseDeg - *b.NoseDeg) / 2 * math.Pi / 180
				least = min(least, 2*math.Abs(math.Sin(half))*h/f)
			}
		}
		if !math.IsInf(least, 1) {
			most = max(most, least)
		}
	}
	return most
}

// takeTests keeps the tests of the stations, and names those that look like slips.
func (c *Comparison) takeTests() {
	var slips []string
	for i, s := range c.Result.Stations {
		c.Stations[i].Test = s
		if s.Slip {
			slips = append(slips, c.Stations[i].Station.Name)
		}
	}
	if len(slips) > 0 {
		c.Notes = append(c.Notes, remark.New("compare.slips", remark.Values{"stations": slips}))
	}
}

// The degrees of freedom of the parts of a station's covariance. Pose and noise
// come from repeats and are known to 16 per cent. The part of placement is known
// to a third: its gradient comes from the map, and beside a source the field is
// not linear over a slip of the hand. Common practice, no source.
const (
	handFreedom  = 20
	placeFreedom = 4
)

// freedom returns the degrees of freedom of a covariance of which a share is due
// to placement.
// Source: the Welch-Satterthwaite formula, JCGM 100:2008 (GUM), G.4.
func freedom(placeShare float64) float64 {
	p := min(1, max(0, placeShare))
	return 1 / (p*p/placeFreedom + (1-p)*(1-p)/handFreedom)
}

// priors returns how much two surveys of an unchanged craft may differ at all
// stations alike: little against backgrounds, which remove the room; much between
// raw fields of two rooms; almost nothing for pulsed differences, which contain
// the load alone. Common practice, no source.
func (c *Comparison) priors() resurvey.Options {
	o := resurvey.Options{} // the defaults
	switch {
	case c.Part != PartSteady:
		o.UniformUT = 0.5
	case c.Raw:
		o.UniformUT = 50
	}
	return o
}

// Named returns the names of the stations that changed.
func (c *Comparison) Named() []string {
	var out []string
	for _, s := range c.Stations {
		if s.Test.Significant {
			out = append(out, s.Station.Name)
		}
	}
	return out
}

// RepeatabilityUT returns the root mean square difference of a component of a
// station between two surveys of an unchanged craft, microtesla; 0 if it is not
// known.
func (c *Comparison) RepeatabilityUT() float64 {
	if v := c.Result.RepeatabilityUT(); !math.IsNaN(v) {
		return v
	}
	return 0
}
