package rank

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
	"quietmount/survey"
	balancing "quietmount/survey/balance"
)

// Relaxation says what one constraint costs: the least relaxation of it alone that
// buys a gain worth saying, all others kept, and the best place without it.
type Relaxation struct {
	Constraint siting.ConstraintName
	Gains      bool          // something worth saying is gained
	ByDeg      float64       // the budget: by how much it must rise for a spot to qualify, degrees; NaN for others
	Part       string        // what moves to restore the balance; empty: nothing
	Least      *Opening      // what the least relaxation opens; the best spot where nothing is gained, nil without spots
	Best       *Opening      // the best place without the constraint; nil where nothing is gained
	Says       remark.Remark // zero where nothing is gained
	inWhy      bool          // Ranking.Why has it
}

// Opening is a place that a relaxation opens, and the heading errors there as
// mounted, degrees, NaN without loads.
type Opening struct {
	ByMM           float64 // by how much the constraint must give way, whole mm; NaN for the budget
	MoveMM         float64 // of Relaxation.Part, forward positive; NaN: nothing moves
	At             r3.Vec  // surface under the middle of the foot, craft frame, mm
	HeightMM       float64
	NearestStation string
	Shifting       heading.Error
	Expected       float64
	Qualifies      bool // within budget and steady limit, and the tolerance no smaller than the slip of the hand
	Interpolated   bool // farther than half the spacing from every station
}

// What a relaxation must gain to be worth saying: the larger of an error in degrees
// and a share of the best spot's.
const (
	worthDeg   = 0.3
	worthShare = 0.1
)

// worth returns what a place must gain over one with an error in degrees.
func worth(deg float64) float64 { return max(worthDeg, worthShare*deg) }

// relaxMost is the number of places that are scored for each constraint, half of
// them in the order of what the means alone say, the rest in that of how much must
// give way.
const relaxMost = 120

// kindHeight and kindBudget are what can be relaxed besides constraints that
// exclude an area.
const (
	kindHeight = "height"
	kindBudget = "budget"
)

// barred are the places that one constraint alone forbids.
type barred struct {
	name   siting.ConstraintName
	places []siting.Place
	// gives returns by how much the constraint must give way for a place, mm, and
	// for the balance the move of a part; +Inf where giving way does not open it.
	gives func(siting.Place) (byMM, moveMM float64)
	part  string // that moves
}

// relaxations returns what each constraint costs, in the order of the craft file.
func (r *ranker) relaxations() []Relaxation {
	now := r.standing()
	var out []Relaxation
	for k, c := range r.limits {
		if b, ok := r.barredBy(k, c); ok {
			out = append(out, r.relax(b, now))
		}
	}
	out = append(out, r.relax(r.higher(), now))
	if r.s.byShifting() {
		out = append(out, r.moreBudget())
	}
	return out
}

// Costs returns what is to be said of the constraints, besides what Why has said:
// each relaxation that gains, or once that none does.
func (r *Ranking) Costs() []remark.Remark {
	var out []remark.Remark
	gains := false
	for _, x := range r.Relaxations {
		if gains = gains || x.Gains; x.Gains && !x.inWhy {
			out = append(out, x.Says)
		}
	}
	if !gains && r.ByShifting && len(r.Spots) > 0 {
		out = append(out, remark.New("rank.nothing_gained", remark.Values{"least_deg": worth(r.Spots[0].Expected)}))
	}
	return out
}

// standing is the best spot, against which gains are measured; nil where no spot
// keeps the limits of the steady part.
func (r *ranker) standing() *Spot {
	if len(r.out.Spots) == 0 || !r.out.Spots[0].WithinSteady {
		return nil
	}
	return &r.out.Spots[0]
}

// barredBy returns the candidates that constraint k alone forbids, whose steady
// part keeps its limits. It reports false for what cannot be relaxed.
func (r *ranker) barredBy(k int, c siting.Constraint) (barred, bool) {
	b := barred{name: c.Name}
	switch c.Name.Kind {
	case KindCable:
		b.gives = func(p siting.Place) (float64, float64) { return r.shortBy(p), math.NaN() }
	case KindBalance:
		b.part, b.gives = r.rebalancing()
	case string(survey.ObstacleKeepout), string(survey.ObstacleClearance):
		o := survey.Obstacle{Kind: survey.ObstacleKind(c.Name.Kind), Name: c.Name.Name}
		b.gives = func(p siting.Place) (float64, float64) { return r.f.Craft.IntrusionMM(o, p.At), math.NaN() }
	default:
		return b, false
	}
	for i, c := range r.cands {
		if len(c.Broken) == 1 && c.Broken[0] == k && r.verdicts[i].steadyOK {
			b.places = append(b.places, c.Place)
		}
	}
	return b, true
}

// rebalancing returns the part that can slide, and how far it must for a place; by
// how much the centre of gravity is out of its range if nothing can slide.
func (r *ranker) rebalancing() (string, func(siting.Place) (byMM, moveMM float64)) {
	c := r.f.Craft
	part := ""
	if b, err := balancing.Of(c, nil); err == nil {
		part = b.Battery
	}
	return part, func(p siting.Place) (float64, float64) {
		at := r.s.at(p.At)
		b, err := balancing.Of(c, &at)
		switch {
		case err != nil:
			return math.Inf(1), math.NaN()
		case part == "":
			return math.Hypot(b.Limits.X.Off(b.Centre.AtMM.X), b.Limits.Y.Off(b.Centre.AtMM.Y)), math.NaN()
		case !b.Remedy.Restored || r.inTheWay(part, b.Remedy.MoveMM, p.At):
			return math.Inf(1), math.NaN()
		}
		return math.Abs(b.Remedy.MoveMM), b.Remedy.MoveMM
	}
}

// inTheWay reports whether a part moved forward by mm would stand too near to the
// module at a place.
func (r *ranker) inTheWay(part string, mm float64, at r2.Vec) bool {
	moved := *r.f.Craft
	moved.Parts = slices.Clone(moved.Parts)
	for i, p := range moved.Parts {
		if p.Name == part && p.AtMM != nil {
			moved.Parts[i].AtMM = &r3.Vec{X: p.AtMM.X + mm, Y: p.AtMM.Y, Z: p.AtMM.Z}
		}
	}
	return len(moved.Obstacles(at)) > 0
}

// moreHeights are the heights that are tried beyond the largest of the craft file,
// mm, and heightNodes the nodes of the grid at which they are, about.
var moreHeights = []float64{20, 40, 60, 100}

const heightNodes = 400

// higher returns the places above the craft's heights that nothing else forbids.
func (r *ranker) higher() barred {
	top := 0.0
	for _, h := range r.f.Craft.Heights {
		top = max(top, h)
	}
	b := barred{
		name:  siting.ConstraintName{Kind: kindHeight},
		gives: func(p siting.Place) (float64, float64) { return p.HeightMM - top, math.NaN() },
	}
	each := max(1, r.grid.Len()/heightNodes)
	for k := range r.grid.Len() {
		at := r.grid.At(k)
		if (k/r.grid.NX+k%r.grid.NX)%each != 0 || !r.f.Craft.Body.OutlineMM.Contains(at) {
			continue
		}
		for _, more := range moreHeights {
			if p := (siting.Place{At: at, HeightMM: top + more}); r.allows(p) {
				b.places = append(b.places, p)
			}
		}
	}
	return b
}

// allows reports whether no constraint forbids a place.
func (r *ranker) allows(p siting.Place) bool {
	return !slices.ContainsFunc(r.limits, func(c siting.Constraint) bool { return !c.Allows(p) })
}

// open is a place that a relaxation opens, with its score.
type open struct {
	place        siting.Place
	byMM, moveMM float64
	rough        float64 // the error by the means alone, degrees; 0 without loads
	score        *score  // nil: not scored
}

// relax finds the least relaxation of a constraint that gains, and the best place
// without it. Where no spot qualifies a place that does is looked for first.
func (r *ranker) relax(b barred, now *Spot) Relaxation {
	out := Relaxation{Constraint: b.name, Part: b.part, ByDeg: math.NaN()}
	wanted := []func(open) bool{func(o open) bool { return r.gains(*o.score, now) }}
	if !r.out.Qualified {
		wanted = slices.Insert(wanted, 0, r.qualifies)
	}
	all := r.opened(b, now)
	for _, good := range wanted {
		if least, best := r.leastOf(all, good); least != nil {
			out.Gains, out.Least, out.Best = true, r.opening(*least), r.opening(*best)
			out.Says = r.relaxed(out, now)
			return out
		}
	}
	if now != nil {
		out.Least = openingOf(*now)
	}
	return out
}

// gains reports whether a place is better than the best spot by enough to say so.
func (r *ranker) gains(s score, now *Spot) bool {
	switch {
	case !s.SteadyOK:
		return false
	case now == nil:
		return true
	}
	least := worth(now.Expected)
	return s.Expected <= now.Expected-least && s.Shifting.Estimate <= now.Shifting.Estimate-least
}

// opened returns the places of b that may be worth a score: the error by the means
// alone is hardly over the expected one, since the error is a convex function of
// the field.
func (r *ranker) opened(b barred, now *Spot) []open {
	if !r.s.byShifting() && now != nil && r.out.Qualified {
		return nil // a quieter steady part is no gain: a calibration of the compass removes it
	}
	rough := make([]float64, len(b.places))
	ceiling := math.Inf(1)
	if r.s.byShifting() {
		if now != nil {
			ceiling = now.Expected - worth(now.Expected)
		}
		if now != nil && !r.out.Qualified {
			ceiling = max(ceiling, r.f.Craft.Limits.HeadingErrorDeg)
		}
		rough = r.rough(b.places, ceiling)
	}
	var out []open
	for i, p := range b.places {
		if !(rough[i] <= ceiling) {
			continue
		}
		if by, move := b.gives(p); !math.IsInf(by, 0) && by > 0 {
			out = append(out, open{place: p, byMM: by, moveMM: move, rough: rough[i]})
		}
	}
	return out
}

// leastOf returns the good place for which least must give way, and the best one;
// nil if none is good. It scores some of all, by number: see relaxMost.
func (r *ranker) leastOf(all []open, good func(open) bool) (least, best *open) {
	byGiving := func(a, b open) int { return cmp.Or(cmp.Compare(a.byMM, b.byMM), cmp.Compare(a.rough, b.rough)) }
	slices.SortStableFunc(all, func(a, b open) int { return cmp.Or(cmp.Compare(a.rough, b.rough), cmp.Compare(a.byMM, b.byMM)) })
	r.scoreOpen(all[:min(len(all), relaxMost/2)])
	slices.SortStableFunc(all, byGiving)
	const atOnce = 10
	left := relaxMost / 2
	for from := 0; from < len(all) && r.s.ctx.Err() == nil; from += atOnce {
		some := all[from:min(from+atOnce, len(all))]
		if least == nil && left > 0 {
			left -= r.scoreOpen(some)
		}
		for i := range some {
			o := &some[i]
			if o.score == nil || !good(*o) {
				continue
			}
			if least == nil {
				least = o
			}
			if best == nil || o.score.cost < best.score.cost {
				best = o
			}
		}
	}
	return least, best
}

// scoreOpen scores the places that have no score yet and returns how many.
func (r *ranker) scoreOpen(some []open) int {
	var places []siting.Place
	var which []int
	for i, o := range some {
		if o.score == nil {
			places, which = append(places, o.place), append(which, i)
		}
	}
	for k, s := range r.s.of(places) {
		some[which[k]].score = &s
	}
	return len(which)
}

// opening describes a place that a relaxation opens.
func (r *ranker) opening(o open) *Opening {
	at := r.s.at(o.place.At)
	name, away := nearest(r.f, at)
	return &Opening{
		ByMM: math.Ceil(o.byMM - 1e-6), MoveMM: math.Copysign(math.Ceil(math.Abs(o.moveMM)-1e-6), o.moveMM),
		At: at, HeightMM: o.place.HeightMM, NearestStation: name,
		Shifting: o.score.Shifting, Expected: o.score.Expected,
		Qualifies: r.qualifies(o), Interpolated: away > r.spacing/2,
	}
}

// qualifies reports whether a place is within budget and steady limit, with a
// placement tolerance no smaller than the slip of the hand.
func (r *ranker) qualifies(o open) bool {
	return r.s.fits(verdict{o.score.SteadyOK, o.score.BudgetOK}) && (!r.s.byShifting() || r.holds(r.tolerance(o.place, r.s.m.SlipMM)))
}

// openingOf returns a spot as what a relaxation by nothing opens.
func openingOf(s Spot) *Opening {
	return &Opening{MoveMM: math.NaN(), At: s.At, HeightMM: s.HeightMM, NearestStation: s.NearestStation, Shifting: s.Shifting, Expected: s.Expected, Qualifies: s.WithinBudget && s.WithinSteady, Interpolated: s.Interpolated}
}

// moreBudget returns by how much the budget must rise for a spot to qualify, in
// tenths of a degree: to the spot's bound as mounted, and to the bounds, set down
// exactly, within the slip of the hand around it.
func (r *ranker) moreBudget() Relaxation {
	budget := r.f.Craft.Limits.HeadingErrorDeg
	out := Relaxation{Constraint: siting.ConstraintName{Kind: kindBudget}, ByDeg: math.Inf(1)}
	for _, s := range r.out.Spots {
		by := 0.0
		if !s.WithinBudget {
			by = math.Ceil(10*(max(s.Shifting.Upper95, r.worstWithinSlip(s))-budget)-1e-6) / 10
		}
		if !s.WithinSteady || !s.WithinBudget && by <= 0 { // the budget is not what keeps it
			continue
		}
		if by < out.ByDeg {
			out.ByDeg, out.Least = by, openingOf(s)
			out.Least.ByMM = math.NaN()
		}
	}
	if out.Least == nil || out.ByDeg > 180 {
		out.ByDeg = math.NaN()
		return out
	}
	if out.ByDeg > 0 {
		out.Gains = true
		o := out.Least
		out.Says = remark.New("rank.relax_budget", remark.Values{
			"by_deg": out.ByDeg, "x_mm": o.At.X, "y_mm": o.At.Y,
		}).At(remark.Place{Station: o.NearestStation})
	}
	return out
}

// worstWithinSlip returns the largest bound of the module set down exactly at the
// places of the slip of the hand around a spot, degrees.
func (r *ranker) worstWithinSlip(s Spot) float64 {
	exact, worst, slip := r.s.m.As(r.s.m.Exact()), 0.0, r.s.m.SlipMM
	at := r2.Vec{X: s.At.X, Y: s.At.Y}
	var places []siting.Place
	siting.Tolerance(at, toleranceStep(slip), slip, func(ps []r2.Vec) bool {
		for _, p := range ps {
			places = append(places, siting.Place{At: p, HeightMM: s.HeightMM})
		}
		return true
	})
	for _, on := range r.s.m.Loads(r.s.sensors(places)) {
		e, _ := exact.Error(on)
		worst = max(worst, e.Upper95)
	}
	return worst
}

// relaxed returns what a relaxation buys, as a remark.
func (r *ranker) relaxed(x Relaxation, now *Spot) remark.Remark {
	l, kind, name := x.Least, x.Constraint.Kind, x.Constraint.Name
	buys := r.buys(x, now)
	values := remark.Values{"by_mm": l.ByMM, "buys": buys}
	switch {
	case kind == KindCable:
		return remark.New("rank.relax_cable", values)
	case kind == kindHeight:
		return remark.New("rank.relax_height", remark.Values{"by_mm": l.ByMM, "height_mm": l.HeightMM, "buys": buys})
	case kind == KindBalance && x.Part == "":
		return remark.New("rank.relax_balance", values)
	case kind == KindBalance:
		return remark.New("rank.relax_balance_by_move", remark.Values{"by_mm": l.ByMM, "aft": l.MoveMM < 0, "buys": buys}).At(remark.Place{Part: x.Part})
	case kind == string(survey.ObstacleKeepout):
		return remark.New("rank.relax_keepout", remark.Values{"keepout": name, "by_mm": l.ByMM, "buys": buys})
	}
	return remark.New("rank.relax_clearance", values).At(remark.Place{Part: name})
}

// buys returns what is at the place that the least relaxation opens, and at the best
// one where that is worth saying too.
func (r *ranker) buys(x Relaxation, now *Spot) []remark.Remark {
	l, b := x.Least, x.Best
	at, deg, best := remark.Place{Station: l.NearestStation}, l.Shifting.Estimate, b.Shifting.Estimate
	var out []remark.Remark
	switch {
	case !r.s.byShifting():
		return []remark.Remark{remark.New("rank.buys_place", remark.Values{"x_mm": l.At.X, "y_mm": l.At.Y}).At(at)}
	case now == nil:
		out = append(out, remark.New("rank.buys", remark.Values{"deg": deg, "x_mm": l.At.X, "y_mm": l.At.Y}).At(at))
	default:
		out = append(out, remark.New("rank.buys_less", remark.Values{"deg": deg, "instead_deg": now.Shifting.Estimate, "x_mm": l.At.X, "y_mm": l.At.Y}).At(at))
	}
	if l.Qualifies && !r.out.Qualified {
		out = append(out, remark.New("rank.buys_within_budget"))
	}
	if l.Interpolated {
		out = append(out, remark.New("rank.buys_interpolated"))
	}
	if b.ByMM > l.ByMM && deg-best >= worth(deg) {
		out = append(out, remark.New("rank.buys_with_more", remark.Values{"by_mm": b.ByMM, "deg": best, "x_mm": b.At.X, "y_mm": b.At.Y}).At(remark.Place{Station: b.NearestStation}))
	}
	return out
}
