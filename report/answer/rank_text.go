package answer

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"quietmount/magmath/heading"
	"quietmount/magmath/siting"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/survey"
	"quietmount/survey/rank"
)

// Text prints the verdict, the spots as a table and where to measure next.
func (a Rank) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	verdict := fmt.Sprintf("%s, %s. %s", say.Named(a.Craft), a.Date, a.Verdict())
	if a.Headline() != "" {
		verdict = a.Verdict()
	}
	p.Sentence(verdict)
	p.Sentence("Heading errors, in degrees, are for " + a.HeadingAt + "; 95 %: the bound that holds with this certainty. " + orderWords + a.LevelWords())
	if len(a.Spots) > 0 {
		p.Line("")
		p.Table(a.table())
	}
	p.Line("")
	for _, s := range a.remarks() {
		p.Sentence(s)
	}
	a.nextWords(p)
	for _, s := range a.Near() {
		p.Sentence("Caution: " + s)
	}
	a.Cautions.print(p)
	return p.Err()
}

// orderWords says why a spot may stand before one of a smaller estimate or bound.
const orderWords = "Spots stand in the order of the error to be expected. "

// Verdict returns the answer in a sentence.
func (a Rank) Verdict() string {
	if len(a.Spots) == 0 {
		return "There is no place where the module could be mounted. " + say.Capital(a.Why)
	}
	best := a.Spots[max(0, slices.IndexFunc(a.Spots, func(s Spot) bool { return s.WithinBudget }))]
	if h := a.Headline(); h != "" {
		return h + a.meanwhile(best)
	}
	if a.Qualified && best.Shifting != nil {
		ahead := ""
		if best.Rank > 1 {
			ahead = fmt.Sprintf(" The error to be expected is less at spot 1, which does not qualify: %s.", a.Spots[0].Remarks())
		}
		return fmt.Sprintf("Spot %d, at %s, is within the budget: with 95 %% certainty the shifting heading error stays under %s degrees of the %s allowed.%s",
			best.Rank, best.where(), Degrees(best.Shifting.Upper95), say.Short(a.BudgetDeg), ahead)
	}
	if a.Qualified {
		return fmt.Sprintf("Spot 1, at %s, is the quietest by the steady part; no load was measured, so the shifting part is unknown.", best.where())
	}
	return strings.TrimSpace("No spot qualifies. " + say.Capital(a.Why))
}

// LevelWords returns what the first spot would have on a level craft at the exact
// place; empty where no load was measured.
func (a Rank) LevelWords() string {
	if len(a.Spots) == 0 || a.Spots[0].Level == nil {
		return ""
	}
	level := DegreesOf(a.Spots[0].Level)
	return fmt.Sprintf("On a level craft, exactly in its place, spot 1 would have %s degrees, under %s.", level[0], level[1])
}

// meanwhile returns what the numbers say of the best spot although a check failed
// for what was not measured; nothing where they cannot be believed.
func (a Rank) meanwhile(best Spot) string {
	if a.Untrusted() != "" || best.Shifting == nil {
		return ""
	}
	return fmt.Sprintf(" By what was measured alone, spot %d, at %s, stays under %s degrees of the %s allowed with 95 %% certainty.",
		best.Rank, best.where(), Degrees(best.Shifting.Upper95), say.Short(a.BudgetDeg))
}

// where returns the place of a spot in the plane, and how a hand finds it.
func (s Spot) where() string {
	at := fmt.Sprintf("x %.0f, y %.0f mm", s.Xmm, s.Ymm)
	if s.by != "" {
		return at + " (" + s.by + ")"
	}
	return at + " near " + s.NearestStation
}

func (a Rank) table() text.Table {
	t := text.Table{Head: [][]string{
		{"", "", "", "", "near", "shifting", "", "steady", "", "miss by", ""},
		{"spot", "x", "y", "height", "station", "error", "95 %", "|d|", "95 %", "at most", "cable"},
		{"", "mm", "mm", "mm", "", "deg", "deg", "uT", "uT", "mm", "mm"},
	}}
	for _, s := range a.Spots {
		row := []string{fmt.Sprint(s.Rank), fmt.Sprintf("%.0f", s.Xmm), fmt.Sprintf("%.0f", s.Ymm),
			say.Short(s.HeightMM), text.Clipped(s.NearestStation, 10)}
		row = append(row, DegreesOf(s.Shifting)...)
		row = append(row, MicroteslaOf(s.SteadyUT)...)
		row = append(row, Whole(s.PlacementToleranceMM), Whole(s.CableMM))
		t.Rows = append(t.Rows, row)
		for _, aside := range []string{s.Place, s.Remarks()} {
			if aside != "" {
				t.Rows = append(t.Rows, []string{text.Aside, aside})
			}
		}
	}
	return t
}

// MicroteslaOf returns the table cells of a magnitude and its upper 95 % bound,
// microtesla.
func MicroteslaOf(q *heading.Quantiles) []string {
	if q == nil {
		return []string{"-", "-"}
	}
	return []string{fmt.Sprintf("%.1f", q.Estimate), fmt.Sprintf("%.1f", q.Upper95)}
}

// Whole returns a number without decimals, or a dash for nil.
func Whole(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.0f", *v)
}

// Remarks returns the cautions of a spot that its numbers do not show.
func (s Spot) Remarks() string {
	var out []string
	if s.NotToldFromBest {
		out = append(out, "cannot be told from the best")
	}
	switch {
	case !s.BoundWithin:
		out = append(out, "over the budget")
	case !s.WithinBudget:
		out = append(out, "not within the budget for a hand that slips: a place so near is over it, or was not surveyed")
	}
	if len(s.WorstReversed) > 0 {
		out = append(out, "worst with "+say.Listed(say.Combination(s.WorstCombination, s.WorstReversed)))
	}
	if s.AnyDirection {
		out = append(out, "the compass can point anywhere")
	}
	if s.Interpolated {
		out = append(out, "between stations: measure here before trusting it")
	}
	return strings.Join(out, "; ")
}

func (a Rank) remarks() []string {
	var out []string
	if f := a.largestFactor(); f > 1.005 && !a.holds(loadScaled) {
		out = append(out, scaledWords(f))
	}
	if s := a.ExcludedWords(); s != "" {
		out = append(out, s)
	}
	out = append(out, a.CostWords()...)
	out = append(out, mapTrust(a.LeftOut)...)
	return out
}

// nextWords prints where to measure next, the most telling place first: what all
// places have in common once, above them.
func (a Rank) nextWords(p *text.Printer) {
	if !a.NextAlike() {
		for _, n := range a.Next {
			p.Sentence(fmt.Sprintf("Measure next at x %.0f, y %.0f, z %.0f mm: %s.", n.Xmm, n.Ymm, n.Zmm, n.Why))
		}
		return
	}
	p.Sentence("Measure next, the most telling place first; a spot near any of them may be as good as the best:")
	for _, n := range a.Next {
		p.Line("  x %.0f, y %.0f, z %.0f mm: %s", n.Xmm, n.Ymm, n.Zmm, n.Open())
	}
}

// NextAlike reports whether all of several places to measure next are worth it for
// the same reason, that a spot near there may be as good as the best.
func (a Rank) NextAlike() bool {
	other := func(n next) bool { return n.WhyCoded.Code != "rank.next_may_be_best" }
	return len(a.Next) > 1 && !slices.ContainsFunc(a.Next, other)
}

// Open returns how far a place is from what was measured, and what is open there.
func (n next) Open() string {
	v := n.WhyCoded.Values
	return fmt.Sprintf("%.0f mm from %s, the map uncertain by %.2g uT", v["away_mm"], n.WhyCoded.Place.Station, v["uncertain_ut"])
}

func (a Rank) largestFactor() float64 {
	most := 1.0
	for _, s := range a.Spots {
		if s.ExtrapolationFactor != nil {
			most = max(most, *s.ExtrapolationFactor)
		}
	}
	return most
}

// loadScaled is the caution that says more of the same, load by load.
const loadScaled = "evaluate.load_scaled"

func scaledWords(factor float64) string {
	return fmt.Sprintf("Measured currents were scaled up to the maximum, by a factor of up to %.2g; the bounds allow for it.", factor)
}

// ExcludedWords returns a sentence on the share of the craft that each constraint
// excludes.
func (a Rank) ExcludedWords() string {
	var out []string
	byText := func(a, b siting.ConstraintName) int { return strings.Compare(a.String(), b.String()) }
	for _, name := range slices.SortedFunc(maps.Keys(a.Excluded), byText) {
		if share := a.Excluded[name]; share > 0.0005 {
			out = append(out, fmt.Sprintf("%s %.0f %%", constraintWords(name), 100*share))
		}
	}
	if len(out) == 0 {
		return ""
	}
	return "Ruled out of the craft's area (the shares overlap): " + strings.Join(out, ", ") + "."
}

func constraintWords(name siting.ConstraintName) string {
	switch name.Kind {
	case rank.KindHeadingError:
		return "the heading budget"
	case rank.KindSteady:
		return "the steady limit"
	case string(survey.ObstacleOutline):
		return "the outline"
	case string(survey.ObstacleKeepout):
		name.Kind = "keep-out"
	}
	return name.String()
}

// CostWords returns a sentence for each constraint whose relaxing would buy
// something, or one that none would.
func (a Rank) CostWords() []string {
	out := make([]string, len(a.Costs))
	for i, s := range a.Costs {
		out[i] = say.Capital(strings.TrimSuffix(s, ".")) + "."
	}
	return out
}

// ExcludedBy returns the share of the craft's area that each constraint excludes,
// the largest first; they overlap.
func (a Rank) ExcludedBy() []ConstraintShare {
	var out []ConstraintShare
	for name, share := range a.Excluded {
		if share > 0.0005 {
			out = append(out, ConstraintShare{constraintWords(name), share})
		}
	}
	slices.SortFunc(out, func(a, b ConstraintShare) int {
		return cmp.Or(cmp.Compare(b.Share, a.Share), strings.Compare(a.Name, b.Name))
	})
	return out
}

// ConstraintShare is a constraint in words and the share that it excludes.
type ConstraintShare struct {
	Name  string
	Share float64
}

// Trust returns how far the map between the stations can be trusted.
func (a Rank) Trust() []string { return mapTrust(a.LeftOut) }
