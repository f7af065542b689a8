package live

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"quietmount/report/answer"
	"quietmount/report/live/serve"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
	"quietmount/survey/walk"
)

// proveView is what the prove panel shows.
type proveView struct {
	Chosen       bool          `json:"chosen"`
	Place        *[3]float64   `json:"at_mm"` // nil: no spot is chosen
	Where        string        `json:"place"` // measured from marks
	HeightMM     float64       `json:"height_mm"`
	Answer       *answer.Prove `json:"answer"` // nil: nothing is promised yet
	Why          string        `json:"why"`    // why not
	Loads        []proveLoad   `json:"loads"`
	Together     []string      `json:"together"`  // the worst combination; empty: a load alone
	HasProbe     bool          `json:"has_probe"` // the craft file has a [probe] besides the module
	Calibrations []string      `json:"calibrations"`
	Linked       bool          `json:"linked"`
	Walking      bool          `json:"walking"`

	Progress computing `json:"progress"`

	failed bool // what was measured speaks against the spot
}

// Verdict returns "yes" if the spot is proved, "no" if a measurement contradicts
// the prediction, even if only some loads are measured, and otherwise "open".
func (v proveView) Verdict() string {
	switch {
	case v.Answer.OK:
		return "yes"
	case v.failed:
		return "no"
	}
	return "open"
}

// proveLoad is a load of the craft with its field at the spot.
type proveLoad struct {
	Name     string      `json:"name"`
	Current  bool        `json:"current"` // it has one
	MaxA     float64     `json:"max_current_a"`
	Measured *[3]float64 `json:"measured_ut"` // at full current; nil: not yet
}

// proofFound is the part of the view that is computed from the folder.
type proofFound struct {
	place    *rank.Mount
	answer   *answer.Prove
	failed   bool
	proof    *prove.Proof // nil as answer
	why      string
	measured map[string][3]float64
}

func proveData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	choice, err := logbook.Chosen(a.Dir)
	if err != nil {
		return nil, err
	}
	v := proveView{Chosen: choice != nil, Loads: []proveLoad{}, Linked: a.work.Probe.State().Connected, Walking: a.work.Busy()}
	if v.Calibrations, err = logbook.CalibrationIDs(a.Dir); err != nil {
		return nil, err
	}
	found, progress, err := proofOf(a, choice, soon)
	if err != nil {
		return nil, err
	}
	v.Progress = progress
	v.Answer, v.failed, v.Why = found.answer, found.failed, found.why
	if found.place != nil {
		v.Place, v.HeightMM, v.Where = new(vec(found.place.At)), found.place.HeightMM, placeWords(f.Craft, *found.place)
	}
	if v.HasProbe = f.Craft.Probe != nil; v.Answer != nil {
		if worst := v.Answer.Promised.WorstCombination; len(worst) > 1 {
			v.Together = worst
		}
		if m := v.Answer.Measured; m != nil && len(m.WorstCombination) > 1 {
			v.Together = m.WorstCombination
		}
	}
	for _, l := range f.Craft.Loads {
		p := proveLoad{Name: l.Name, Current: l.Kind == survey.LoadCurrent, MaxA: l.MaxCurrentA}
		if m, ok := found.measured[l.Name]; ok {
			p.Measured = &m
		}
		v.Loads = append(v.Loads, p)
	}
	return v, nil
}

// proofOf compares the prediction for the spot with what was measured there.
func proofOf(a asked, choice *logbook.Choice, p patience) (*proofFound, computing, error) {
	kept, progress, err := computed(a, p, "prove", func(ctx context.Context) (*proofFound, error) {
		found, err := a.findings(ctx)
		if err != nil {
			return nil, err
		}
		out := &proofFound{measured: map[string][3]float64{}}
		at, ok := prove.MountToProve(found, choice)
		if !ok {
			return out, nil
		}
		out.place = &at
		proof, err := prove.Prove(ctx, found, at)
		if err != nil {
			out.why = err.Error()
			return out, nil
		}
		out.proof = proof
		out.answer, out.failed = new(answer.NewProve(words.Page, found, proof, 0)), proof.Failed
		for name, e := range proof.Loads {
			out.measured[name] = vec(e.Mean)
		}
		return out, nil
	})
	switch {
	case err != nil && a.unmeasured(err) == "":
		return nil, progress, err
	case kept != nil:
		return kept, progress, nil
	}
	out := &proofFound{}
	if err != nil {
		out.why = a.Words("prove.nothing")
	}
	if choice != nil {
		out.place = new(rank.ChosenMount(choice))
	}
	return out, progress, nil
}

// proveSettle keeps the verdict of a proof that failed: its captures are readings at the
// spot from then on.
func proveSettle(a asked) (any, error) {
	choice, err := logbook.Chosen(a.Dir)
	if err != nil {
		return nil, err
	}
	found, _, err := proofOf(a, choice, fully)
	if err != nil {
		return nil, err
	}
	if found.proof == nil || !found.failed {
		return nil, serve.BadField("prove", "%s", a.Words("prove.none_failed"))
	}
	if err := keepFailed(a, found); err != nil {
		return nil, err
	}
	return serve.Done{Say: a.Words("prove.settled")}, nil
}

// keepFailed keeps the verdict if the proof failed. The proof is shared: it stays as it is.
func keepFailed(a asked, found *proofFound) error {
	if found.proof == nil {
		return nil
	}
	proof := *found.proof
	proof.Notes = slices.Clone(proof.Notes)
	return proof.Keep(a.Dir, a.Now())
}

// withOthers reads the loads that are on together with that of the set-up: the worst
// combination, with the currents of the others in its order.
func withOthers(a asked, s *walk.Setup) error {
	names := strings.Split(a.Form.Raw("together"), " + ")
	if len(names) < 2 {
		return nil
	}
	others := strings.FieldsFunc(a.Form.Raw("others_a"), func(r rune) bool { return r == ';' || r == ' ' })
	s.Together = map[string]float64{}
	for i, name := range names[1:] {
		s.Together[name] = 0
		if i < len(others) {
			amps, err := strconv.ParseFloat(strings.ReplaceAll(others[i], ",", "."), 64)
			if err != nil {
				return serve.BadField("others_a", "%s", a.Words("prove.others_wrong"))
			}
			s.Together[name] = amps
		}
	}
	if err := walk.CheckTogether(s.Folder.Craft, s.State, s.Together); err != nil {
		return serve.BadField("others_a", "%v", err)
	}
	return nil
}

// proveBegin begins a pulsed run of one load, or of the worst combination, at the spot.
// A proof that has failed by then is kept: the captures to come are of a fresh one.
func proveBegin(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	if first, _, several := strings.Cut(a.Form.Raw("state"), " + "); several {
		a.Form.Values.Set("together", a.Form.Raw("state"))
		a.Form.Values.Set("state", first)
	}
	if _, err := a.Form.Pick("state", loadNames(f.Craft)...); err != nil {
		return nil, err
	}
	choice, err := logbook.Chosen(a.Dir)
	if err != nil {
		return nil, err
	}
	found, _, err := proofOf(a, choice, fully)
	if err != nil {
		return nil, err
	}
	if found.place == nil {
		return nil, serve.BadField("state", "%s", a.Words("prove.choose_first"))
	}
	s, err := walkSetup(a)
	if err != nil {
		return nil, err
	}
	s.Pulsed, s.Proof, s.Most, s.Resume, s.Full = true, true, 0, false, false
	s.ByProbe = a.Form.On("by_probe") && s.Folder.Craft.Probe != nil
	if err := withOthers(a, &s); err != nil {
		return nil, err
	}
	s.Extra = []survey.Station{{Name: evaluate.SpotStation, At: found.place.Foot()}}
	if _, err := s.Plan(); err != nil {
		return nil, serve.BadField("state", "%v", err)
	}
	if err := keepFailed(a, found); err != nil {
		return nil, err
	}
	return serve.Done{Say: a.Words("prove.begun")}, a.work.Walk(s)
}
