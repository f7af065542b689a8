package live

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/report/live/serve"
	"quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/balance"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// chooseView is what the choose panel shows.
type chooseView struct {
	Answer   *answer.Rank             `json:"answer"` // nil: not computed yet, or nothing to rank by
	Verdict  string                   `json:"verdict"`
	Cards    []spotCard               `json:"-"`
	Scale    *dotScale                `json:"scale"`
	Excluded []answer.ConstraintShare `json:"-"`
	Costs    []string                 `json:"-"` // of the constraints
	Trust    []string                 `json:"-"`
	Plan     *spotPlan                `json:"plan"`
	Chosen   *chosenView              `json:"chosen"`
	Wait     string                   `json:"wait"`
	Progress computing                `json:"progress"`
}

// spotCard is a spot as it is shown.
type spotCard struct {
	Rank            int
	Near            string
	Place           string // measured from marks
	X, Y, Z, Height float64
	Estimate, Most  string // in the unit of the scale
	Dot             dotLine
	Steady          string
	Level           string // of the shifting part; empty: no load was measured
	Tolerance       *float64
	Cable           *float64
	CGX, CGY        *float64
	Balance         string // what would restore it; empty: nothing to do, or nothing known
	Remarks         string
	Worst           []string
	Chosen          bool
}

// dotScale is the one scale of all spots: from zero to Most.
type dotScale struct {
	Unit      string  `json:"unit"` // "°" or "µT"
	Most      float64 `json:"most"`
	Limit     float64 `json:"limit"`
	LimitAt   string  `json:"-"` // in per cent of the width
	Shifting  bool    `json:"shifting"`
	LimitText string  `json:"-"`
}

// dotLine is an estimate as a dot, its bound as the end of a line, in per cent
// of the width.
type dotLine struct {
	Dot, End string
	Beyond   bool // the line runs off the scale
}

// spotPlan is the craft with spots and places to measure next.
type spotPlan struct {
	*craftPlan
	Spots []planSpot `json:"spots"`
	Next  []point    `json:"next"`
	Size  float64    `json:"size"` // of a mark, mm
}

type planSpot struct {
	point
	Rank   int  `json:"rank"`
	Chosen bool `json:"chosen"`
}

// chosenView is the stored choice.
type chosenView struct {
	*logbook.Choice
	When    string `json:"when"`
	Place   string `json:"place"`   // measured from marks
	Changed string `json:"changed"` // what has changed since; empty: nothing
}

// rankedSpots is a ranking with what the page shows of it. The findings are used
// within computations only.
type rankedSpots struct {
	answer  answer.Rank
	spots   []rank.Spot
	balance []string
}

func (a asked) rankedSpots(p patience) (*rankedSpots, computing, error) {
	return computed(a, p, "choose ranking", func(ctx context.Context) (*rankedSpots, error) {
		found, ranking, why, err := a.ranking(ctx)
		if err = cmp.Or(err, why); err != nil {
			return nil, err
		}
		r := &rankedSpots{answer: answer.NewRank(words.Page, found, ranking), spots: ranking.Spots}
		for _, s := range r.spots {
			balanced := ""
			if b, err := balance.Of(found.Craft, &s.At); err == nil {
				balanced = strings.Join(answer.NewBalance(words.Page, found.Craft.Name, b).Remedies(), " ")
			}
			r.balance = append(r.balance, balanced)
		}
		return r, nil
	})
}

func chooseData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	v := chooseView{}
	if v.Chosen, err = storedChoice(a, f); err != nil {
		return nil, err
	}
	r, progress, err := a.rankedSpots(soon)
	v.Progress = progress
	if v.Wait = a.unmeasured(err); v.Wait != "" {
		return v, nil
	}
	if err != nil || r == nil {
		return v, err
	}
	v.Answer, v.Verdict = &r.answer, r.answer.Verdict()
	v.Excluded, v.Costs, v.Trust = r.answer.ExcludedBy(), r.answer.CostWords(), r.answer.Trust()
	v.Scale = scaleOf(f.Craft, r.spots)
	for i, s := range r.spots {
		v.Cards = append(v.Cards, v.card(s, r.answer.Spots[i].Remarks(), r.balance[i]))
	}
	v.Plan = v.plan(f.Craft, r)
	return v, nil
}

// storedChoice returns the choice of the folder; nil if there is none.
func storedChoice(a asked, f *logbook.Folder) (*chosenView, error) {
	choice, err := logbook.Chosen(a.Dir)
	if choice == nil || err != nil {
		return nil, err
	}
	v := &chosenView{Choice: choice, When: choice.Chosen.Format("2006-01-02 15:04"), Place: placeWords(f.Craft, rank.ChosenMount(choice))}
	if choice.CraftSHA256 != "" && choice.CraftSHA256 != f.Craft.SHA256 {
		v.Changed = a.Words("choose.craft_changed")
	}
	return v, nil
}

// placeWords describes where a module stands as a hand measures it.
func placeWords(c *survey.Craft, at rank.Mount) string {
	return say.FromMarks(c.FromMarks(r2.Vec{X: at.At.X, Y: at.At.Y}), at.HeightMM)
}

// scaleOf returns a scale up to the largest bound of all spots, but at most four
// times the limit.
func scaleOf(c *survey.Craft, spots []rank.Spot) *dotScale {
	s := &dotScale{Unit: "µT", Limit: c.Limits.SteadyUT}
	for _, p := range spots {
		s.Shifting = s.Shifting || !math.IsNaN(p.Shifting.Estimate)
	}
	if s.Shifting {
		s.Unit, s.Limit = "°", c.Limits.HeadingErrorDeg
	}
	most := 0.0
	for _, p := range spots {
		if _, upper := s.of(p); upper > most {
			most = upper
		}
	}
	s.Most = min(max(most*1.05, s.Limit*1.2), s.Limit*4)
	if !(s.Most > 0) {
		s.Most = 1
	}
	s.LimitAt = s.share(s.Limit)
	s.LimitText = strings.Replace(plain(s.Limit)+" "+s.Unit, " °", "°", 1)
	return s
}

func (s *dotScale) of(p rank.Spot) (estimate, upper float64) {
	if s.Shifting {
		return p.Shifting.Estimate, p.Shifting.Upper95
	}
	return p.SteadyUT.Estimate, p.SteadyUT.Upper95
}

// share returns the position of a value on the scale, with some room at the ends.
func (s *dotScale) share(v float64) string {
	if math.IsNaN(v) {
		v = s.Most
	}
	return fmt.Sprintf("%.2f%%", 2+96*min(max(v/s.Most, 0), 1))
}

func (v *chooseView) card(s rank.Spot, remarks, balance string) spotCard {
	estimate, upper := v.Scale.of(s)
	out := spotCard{
		Rank: s.Rank, Near: s.NearestStation, Place: say.FromMarks(s.FromMarks, s.HeightMM), X: s.At.X, Y: s.At.Y, Z: s.At.Z, Height: s.HeightMM,
		Dot: dotLine{v.Scale.share(estimate), v.Scale.share(upper), upper > v.Scale.Most}, Steady: "–",
		Tolerance: finite(s.PlacementToleranceMM), Cable: finite(s.CableMM), CGX: finite(s.CGXMM), CGY: finite(s.CGYMM),
		Balance: balance, Remarks: remarks, Worst: say.Combination(s.WorstCombination, s.WorstReversed),
		Chosen: v.Chosen != nil && samePlace(v.Chosen.At(), s.At),
	}
	if v.Scale.Shifting {
		out.Estimate, out.Most = answer.Degrees(estimate)+"°", answer.Degrees(upper)+"°"
		out.Level = fmt.Sprintf("%s° (95 %%: %s°)", answer.Degrees(s.Level.Estimate), answer.Degrees(s.Level.Upper95))
	} else {
		out.Estimate, out.Most = fmt.Sprintf("%.1f µT", estimate), fmt.Sprintf("%.1f µT", upper)
	}
	if !math.IsNaN(s.SteadyUT.Estimate) {
		out.Steady = fmt.Sprintf("%.1f µT (95 %%: %.1f)", s.SteadyUT.Estimate, s.SteadyUT.Upper95)
	}
	return out
}

func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// samePlace reports whether two places agree within the rounding of a stored file.
func samePlace(a, b r3.Vec) bool { return r3.Norm(r3.Sub(a, b)) < 0.5 }

func (v *chooseView) plan(c *survey.Craft, r *rankedSpots) *spotPlan {
	p := &spotPlan{craftPlan: newPlan(c)}
	p.Size = max(p.Box[2], p.Box[3]) / 44
	for _, s := range r.spots {
		p.Spots = append(p.Spots, planSpot{
			point: point{Name: s.NearestStation, X: s.At.Y, Y: -s.At.X}, Rank: s.Rank,
			Chosen: v.Chosen != nil && samePlace(v.Chosen.At(), s.At),
		})
	}
	for _, n := range r.answer.Next {
		p.Next = append(p.Next, point{X: n.Ymm, Y: -n.Xmm})
	}
	return p
}

// chooseSpot stores a spot of the ranking that the page showed. It is refused if the
// ranking has changed since and another spot has that rank.
func chooseSpot(a asked) (any, error) {
	in := serve.Fields{Form: a.Form}
	number, shown := in.Int("rank", 0, 1, 1000), formPlace(&in, "x_mm", "y_mm", "z_mm")
	if in.Err != nil {
		return nil, in.Err
	}
	r, _, err := a.rankedSpots(fully)
	if err != nil {
		return nil, err
	}
	if number < 1 || number > len(r.spots) || !samePlace(shown, r.spots[number-1].At) {
		return nil, serve.BadField("rank", "%s", a.Words("choose.moved"))
	}
	return a.keepChoice(func(*evaluate.Findings) (*rank.Spot, []string, error) { return &r.spots[number-1], nil, nil })
}

// choosePlace stores a place entered by hand.
func choosePlace(a asked) (any, error) {
	in := serve.Fields{Form: a.Form}
	at := formPlace(&in, "x_mm", "y_mm", "z_mm")
	if in.Err != nil {
		return nil, in.Err
	}
	return a.keepChoice(func(found *evaluate.Findings) (*rank.Spot, []string, error) {
		spot, broken, err := rank.SpotAt(a.Ctx, found, at)
		if err != nil && !errors.Is(err, rank.ErrNoMap) {
			err = serve.BadField("z_mm", "%v", err)
		}
		return spot, broken, err
	})
}

// keepChoice stores the spot that find returns, with the constraints that it
// breaks.
func (a asked) keepChoice(find func(*evaluate.Findings) (*rank.Spot, []string, error)) (any, error) {
	said := ""
	err := a.cache.inTurn(a.Ctx, func() error {
		found, err := a.findings(a.Ctx)
		if err != nil {
			return err
		}
		spot, broken, err := find(found)
		if err != nil {
			return err
		}
		if _, err := filing.KeepChoice(a.Dir, found, *spot, broken, a.Now(), a.Tool); err != nil {
			return err
		}
		said = a.Words("choose.kept", spot.At.X, spot.At.Y, spot.At.Z)
		for _, w := range filing.ChoiceCautions(*spot, broken) {
			said += " " + a.Words("choose.caution", w)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return serve.Done{Say: said}, nil
}

// formPlace reads three coordinates of a form, all of which must be there.
func formPlace(f *serve.Fields, x, y, z string) r3.Vec {
	const most = 100_000 // farther from the datum than anything on a small craft
	return r3.Vec{X: f.Needed(x, -most, most), Y: f.Needed(y, -most, most), Z: f.Needed(z, -most, most)}
}
