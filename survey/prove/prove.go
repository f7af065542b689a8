// Package prove compares what the map promises of a spot with what was measured
// there, with the module taped to it before it is glued.
//
// In come findings whose Proofs hold the runs captured at the spot, and the
// mounting; out goes a Proof: the promised and the measured errors, a test of the
// one against the other, the steady part at the spot, and a verdict.
//
// Start reading at Prove; steady.go has the steady part.
package prove

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Proof compares what was promised of a spot with what was measured there.
type Proof struct {
	Place    rank.Mount
	Promised rank.Spot
	Measured *heading.Error               // of the worst combination; nil: no load was captured there
	Worst    []string                     // the loads of that combination
	Reversed []string                     // those of them whose current is reversed in it
	Loads    map[string]evaluate.Estimate // each load at its maximum current, as measured at the spot
	Steady   *Steady                      // nil: nothing at rest was captured there, or no background
	Captures int
	Settings map[string]int   // settings-down of the module with each load
	Wanted   int              // settings-down wanted of each load
	Scatter  evaluate.Scatter // of the settings-down
	Reached  map[string]Reach // loads measured at less than half their maximum current
	PValue   float64          // of what was measured, loads and steady part together, if the map is right; NaN without captures
	State    State
	OK       bool // proved
	Failed   bool // a measurement contradicts the promise or breaks a limit; if neither is set, something is still to be measured
	Why      remark.Remark
	Notes    []remark.Remark
	Runs     []int       // numbers of the runs that were judged
	Earlier  []*Judgment // proofs that failed, at this spot or another, oldest first
}

// Reach is how far a load was driven at the spot, amperes.
type Reach struct{ CurrentA, MaxA float64 }

// Judgment is a verdict on record.
type Judgment struct {
	logbook.Verdict
	Time time.Time
}

// State is what a proof came to.
type State string

// The states of a proof.
const (
	Open         State = "open"          // something is still to be measured
	Proved       State = "proved"        // with the worst combination on at once
	OneByOne     State = "one_by_one"    // proved, each load by itself
	Agrees       State = "agrees"        // as far as the currents went, which is not far enough
	PlaceChecked State = "place_checked" // with another probe than the module
	Failed       State = "failed"
)

// Significance is the probability under which measurements contradict the map.
const Significance = 0.01

// The number of settings-down of each load: at least, and at most where they scatter.
const (
	LeastSettings = logbook.ProofSettings
	mostSettings  = 9
)

// farthest is the factor of current beyond which a measurement does not prove.
const farthest = 2.05

// Prove holds what was measured at a mounting against the map. PValue tests the
// fields, all together, against what the map foretells of them there; a spot is
// proved if they do not contradict it, every load of the craft file was measured at
// enough of its current with the module set down often enough, and the measured
// upper bounds as mounted keep the budget and the steady limit. Without captures
// there OK and Failed are false. The error is rank.ErrNoMap, wrapped, if no load was
// measured on the craft.
func Prove(ctx context.Context, f *evaluate.Findings, at rank.Mount) (*Proof, error) {
	if f.Map == nil || len(f.Map.Loads) == 0 {
		return nil, fmt.Errorf("no load was measured on the craft, so that nothing is promised of a spot: %w", rank.ErrNoMap)
	}
	p := &Proof{Place: at, PValue: math.NaN(), State: Open, Earlier: judgments(f), Wanted: LeastSettings}
	p.Promised = rank.PredictAt(ctx, f, at)
	got, err := f.Proved(ctx, evaluate.ProofPlace{At: at.At, Foot: at.Foot()})
	if e := ctx.Err(); e != nil {
		return nil, fmt.Errorf("prove the place: %w", e)
	}
	p.Loads, p.Captures, p.Settings, p.Scatter, p.Runs, p.Notes = got.Loads, got.Captures, got.Settings, got.Scatter, got.Runs, got.Notes
	if err != nil {
		p.Notes = append(p.Notes, remark.New("prove.steady_unknown", remark.Values{"error": err}))
	}
	m := f.NewMounted()
	if mounting := m.Mounting; p.Scatter.SlipMM > mounting.SlipMM {
		mounting.SlipMM = p.Scatter.SlipMM
		m = m.As(mounting)
	}
	p.takeSteady(f, m, got)
	if p.Captures == 0 {
		p.Why = remark.New("prove.no_captures")
		if n := len(p.Earlier); n > 0 && p.Earlier[n-1].near(at) {
			p.Why = remark.New("prove.failed_before", remark.Values{"proofs": n})
		}
		return p, nil
	}
	p.PValue = got.Off.PValue()
	p.takeScatter()
	p.measure(f, m, got)
	p.judge(f, got)
	return p, nil
}

// takeScatter says how far the settings-down scatter, and how many that calls for: as
// many as make their mean as good as that of the least number foreseen.
func (p *Proof) takeScatter() {
	s := p.Scatter
	if s.Factor > 1 {
		p.Wanted = min(mostSettings, int(math.Ceil(LeastSettings*s.Factor*s.Factor)))
		p.Notes = append(p.Notes, remark.New("prove.scatter", remark.Values{"slip_mm": s.SlipMM, "factor": s.Factor, "p_value": s.P, "wanted": p.Wanted}))
	}
}

// measure sets the measured error: that of the worst combination of the loads one by
// one, or of those that were on together, whichever reaches farther.
func (p *Proof) measure(f *evaluate.Findings, m *evaluate.Mounted, got *evaluate.Proved) {
	w := evaluate.NewWorst(f.Craft, p.Loads)
	sensor := f.Craft.Module.SensorAt(p.Place.Foot(), 0)
	on := make([]heading.Load, len(w.Names))
	for i, n := range w.Names {
		on[i] = m.At(p.Loads[n], f.FieldOf(n), sensor)
	}
	if len(on) == 0 {
		return
	}
	worst, combo := m.ErrorOf(on, w)
	p.Measured, p.Worst = &worst, w.NamesOf(combo)
	p.Reversed = w.ReversedOf(combo)
	for _, t := range got.Together {
		level, even := evenly(t.Levels)
		if !even {
			continue
		}
		// One load stands for all that were on.
		all := heading.Load{Mean: r3.Scale(1/level, t.Mean), Cov: t.Cov.Scale(1 / (level * level)), Slip: slipOf(t, level, w.Names, on)}
		if e, _ := m.ErrorOf([]heading.Load{all}, evaluate.Worst{Names: t.Loads[:1], Combos: [][]int{{0}}}); e.Upper95 > worst.Upper95 {
			worst, p.Worst, p.Reversed = e, t.Loads, t.Reversed()
		}
	}
	if !p.together(got) {
		p.Notes = append(p.Notes, remark.New("prove.one_by_one", remark.Values{"loads": p.Worst}))
	}
}

// slipOf returns what a slip of the hand makes of loads that were on together, put on
// their maximum: the sum of what it makes of each.
func slipOf(t evaluate.Together, level float64, names []string, on []heading.Load) []r3.Vec {
	var sum []r3.Vec
	for i, name := range t.Loads {
		k := slices.Index(names, name)
		if k < 0 {
			continue
		}
		for j, s := range on[k].Slip {
			if sum == nil {
				sum = make([]r3.Vec, len(on[k].Slip))
			}
			sum[j] = r3.Add(sum[j], r3.Scale(t.Levels[i]/level, s))
		}
	}
	return sum
}

// evenly returns the part of the maximum that all loads were at, and whether there is
// one; reversed ones have the opposite sign.
func evenly(levels []float64) (part float64, ok bool) {
	for i, l := range levels {
		if l = math.Abs(l); i > 0 && math.Abs(l-part) > 0.05*part || l == 0 {
			return 0, false
		}
		part = math.Abs(levels[0])
	}
	return part, part > 0
}

// together reports whether the worst combination was run with all its loads on at
// once, each in its direction.
func (p *Proof) together(got *evaluate.Proved) bool {
	return len(p.Worst) < 2 || slices.ContainsFunc(got.Together, func(t evaluate.Together) bool {
		return slices.Equal(t.Loads, p.Worst) && slices.Equal(t.Reversed(), p.Reversed)
	})
}

// judge sets the verdict. What is missing is named before anything is praised.
func (p *Proof) judge(f *evaluate.Findings, got *evaluate.Proved) {
	p.takeReach(f, got)
	missing, short := p.wanting(f)
	p.noteDepartures(got)
	limits := f.Craft.Limits
	fail := func(why remark.Remark) { p.State, p.Failed, p.Why = Failed, true, why }
	switch {
	case p.PValue < Significance && len(short) == 0:
		fail(remark.New("prove.contradicts", remark.Values{"p_value": p.PValue}))
	case len(missing) > 0:
		p.Why = remark.New("prove.loads_missing", remark.Values{"loads": missing})
	case len(short) > 0:
		p.Why = remark.New("prove.settings_missing", remark.Values{"loads": short, "wanted": p.Wanted})
	case p.Measured.Upper95 > limits.HeadingErrorDeg:
		fail(remark.New("prove.over_budget", remark.Values{"up_to_deg": p.Measured.Upper95, "budget_deg": limits.HeadingErrorDeg}))
	case p.Steady != nil && p.Steady.OverLimit:
		fail(remark.New("prove.over_steady_limit", remark.Values{"up_to_ut": p.Steady.UT.Upper95, "limit_ut": limits.SteadyUT}))
	case len(got.Others) > 0:
		p.State, p.Why = PlaceChecked, remark.New("prove.place_checked", p.kept(remark.Values{"runs": got.Others}))
	case len(p.Reached) > 0:
		name := p.leastReached(f)
		r := p.Reached[name]
		p.State, p.Why = Agrees, remark.New("prove.not_reached", p.kept(remark.Values{"load": name, "current_a": r.CurrentA, "max_current_a": r.MaxA}))
	case !p.together(got):
		p.OK, p.State, p.Why = true, OneByOne, remark.New("prove.kept_one_by_one", p.kept(remark.Values{"loads": p.Worst}))
	default:
		p.OK, p.State, p.Why = true, Proved, remark.New("prove.kept", p.kept(remark.Values{}))
	}
}

// kept adds the values of what was measured and promised.
func (p *Proof) kept(v remark.Values) remark.Values {
	v["measured_deg"], v["up_to_deg"], v["promised_deg"] = p.Measured.Estimate, p.Measured.Upper95, p.Promised.Shifting.Upper95
	v["p_value"] = p.PValue
	return v
}

// wanting returns the loads of the craft file that were not pulsed at the spot, and
// those with which the module was not set down often enough.
func (p *Proof) wanting(f *evaluate.Findings) (missing, short []string) {
	for _, l := range f.Craft.Loads {
		switch n := p.Settings[l.Name]; {
		case n == 0:
			missing = append(missing, l.Name)
		case n < p.Wanted:
			short = append(short, l.Name)
		}
	}
	return missing, short
}

// takeReach finds the loads that were measured at less than half their maximum
// current.
func (p *Proof) takeReach(f *evaluate.Findings, got *evaluate.Proved) {
	p.Reached = map[string]Reach{}
	for _, l := range f.Craft.Loads {
		a, stated := got.CurrentA[l.Name]
		switch {
		case l.Kind != survey.LoadCurrent || p.Settings[l.Name] == 0:
		case !stated:
			p.Notes = append(p.Notes, remark.New("prove.current_unstated", remark.Values{"max_current_a": l.MaxCurrentA}).At(remark.Place{Load: l.Name}))
		case l.MaxCurrentA > farthest*a:
			p.Reached[l.Name] = Reach{a, l.MaxCurrentA}
		}
	}
}

// leastReached returns the load that was driven least far.
func (p *Proof) leastReached(f *evaluate.Findings) string {
	name, most := "", 0.0
	for _, l := range f.Craft.Loads {
		if r, ok := p.Reached[l.Name]; ok && r.MaxA/r.CurrentA > most {
			name, most = l.Name, r.MaxA/r.CurrentA
		}
	}
	return name
}

// noteDepartures names the loads that depart from the map by themselves.
func (p *Proof) noteDepartures(got *evaluate.Proved) {
	for _, part := range got.Off.Parts {
		if part == evaluate.PartSteady {
			continue
		}
		if one, _ := got.Off.Of(part); one.PValue() < Significance {
			p.Notes = append(p.Notes, remark.New("prove.load_differs", remark.Values{"off_ut": r3.Norm(one.Mean[0]), "p_value": one.PValue(), "part": part}))
		}
	}
}

// judgments returns the proofs that failed, each once, oldest first.
func judgments(f *evaluate.Findings) []*Judgment {
	var out []*Judgment
	for _, r := range f.FailedProofs {
		n := r.Failed()
		if n == nil || slices.ContainsFunc(out, func(j *Judgment) bool { return slices.Equal(j.Runs, n.Verdict.Runs) }) {
			continue
		}
		out = append(out, &Judgment{*n.Verdict, n.Time})
	}
	slices.SortStableFunc(out, func(a, b *Judgment) int { return a.Time.Compare(b.Time) })
	return out
}

// near reports whether a judgment was about a spot.
func (j *Judgment) near(at rank.Mount) bool {
	was := rank.Mount{At: r3.Vec{X: j.AtMM[0], Y: j.AtMM[1], Z: j.AtMM[2]}, HeightMM: j.HeightMM}
	return r3.Norm(r3.Sub(was.Foot(), at.Foot())) <= evaluate.ProofReachMM
}

// Keep appends the verdict of a proof that failed to its runs in the craft folder dir:
// it stays on record, and from then on its captures count as readings at the spot. It
// does nothing for other proofs. The errors are those of logbook.KeepVerdict.
func (p *Proof) Keep(dir string, now time.Time) error {
	if !p.Failed || len(p.Runs) == 0 {
		return nil
	}
	if err := logbook.KeepVerdict(dir, p.verdict(), now); err != nil {
		return fmt.Errorf("keep the verdict of the proof: %w", err)
	}
	p.Notes = append(p.Notes, remark.New("prove.taken_in"))
	return nil
}

// verdict returns what the runs of the proof are to keep.
func (p *Proof) verdict() logbook.Verdict {
	v := logbook.Verdict{
		Failed: p.Failed, Code: p.Why.Code, Runs: p.Runs,
		AtMM: [3]float64{p.Place.At.X, p.Place.At.Y, p.Place.At.Z}, HeightMM: p.Place.HeightMM,
		Promised: &[2]float64{p.Promised.Shifting.Estimate, p.Promised.Shifting.Upper95},
	}
	if !math.IsNaN(p.PValue) {
		v.PValue = &p.PValue
	}
	if p.Measured != nil {
		v.Measured = &[2]float64{p.Measured.Estimate, p.Measured.Upper95}
	}
	return v
}

// MountToProve returns where a proof is asked for if nothing else is said: at the
// chosen spot, else where a proof was captured last. choice may be nil. ok is
// false if neither is known.
func MountToProve(f *evaluate.Findings, choice *logbook.Choice) (at rank.Mount, ok bool) {
	if choice != nil {
		return rank.ChosenMount(choice), true
	}
	if known := mounts(f); len(known) > 0 {
		return known[len(known)-1], true
	}
	return rank.Mount{}, false
}

// mounts returns the places where proof runs were captured, each once, in the
// order of the captures.
func mounts(f *evaluate.Findings) []rank.Mount {
	var out []rank.Mount
	for _, r := range f.Proofs {
		for _, c := range r.Valid() {
			if c.Visit == logbook.VisitBase {
				continue
			}
			if !slices.ContainsFunc(out, func(p rank.Mount) bool { return r3.Norm(r3.Sub(p.At, c.At)) <= evaluate.ProofReachMM }) {
				out = append(out, rank.Mount{At: c.At})
			}
		}
	}
	return out
}
