// Package sources finds the magnets and leads that explain the measured field of
// a craft, and their compass-safe distances.
//
// In come findings; out go Findings of this package: for the steady part and for
// each load the sources, the part of the craft at which each lies, and what is
// left unexplained. magmath/source fits; this package takes the named parts and
// currents from the craft and describes the result. Start reading at Find.
package sources

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/evaluate"
)

// ErrNoVectors is returned if there are no vectors to fit a source to.
var ErrNoVectors = errors.New("no source can be found: neither a load nor a disturbance against a background was measured")

// Source is a source of a disturbance, with its compass-safe distances.
type Source struct {
	source.Fitted
	State    string  // survey.StateUnpowered or a load, at its maximum current
	Probably string  // the part, not marked as magnetic, at whose place an unnamed source lies
	Nearest  Nearest // of the described parts
	StrayMM  float64 // distance of a named magnet from its stated place

	// Compass-safe distances in the worst orientation, mm, and their upper 95 %
	// bounds by the covariance of the fit. BudgetUT is the field at the first:
	// the builder's steady limit for the steady part, H sin (budget) for a load.
	SafeMM, SafeUpper95MM SafeDistances
	BudgetUT              float64
}

// SafeDistances are compass-safe distances, mm, by the limit: the builder's, and
// those published for a standard and a reduced distance.
type SafeDistances struct{ Budget, Standard, Reduced float64 }

// Nearest is the described part nearest to a place; Part is empty for the
// datum itself.
type Nearest struct {
	Part   string
	Offset r3.Vec // from the part to the place, mm
}

// StateSources are the sources of one state.
type StateSources struct {
	State       string   `json:"state"`
	Stations    int      `json:"stations"`
	Sources     []Source `json:"-"`                 // the largest share first
	Nothing     []Source `json:"-"`                 // named parts that explain nothing
	Unexplained float64  `json:"unexplained"`       // 0..1
	Quiet       bool     `json:"within_noise"`      // the field is within its noise: there is nothing to explain
	Scale       float64  `json:"misfit_factor"`     // factor by which the sources fit worse than the noise
	Alike       [][2]int `json:"not_told_apart"`    // pairs of Sources that cannot be told apart
	Lone        []string `json:"stations_left_out"` // stations left out because their neighbours contradict them
	signal      float64
	left        float64
}

// Findings are the sources of every state measured in vectors.
type Findings struct {
	States      []StateSources
	Unexplained float64 // 0..1, of all states together
	Notes       []remark.Remark
}

// ReadingField is a map that keeps its readings.
type ReadingField interface{ Readings() magmath.Readings }

// Find returns the sources of the steady part and of each load. The errors are
// ErrNoVectors, if neither was measured, and those of the fit, wrapped.
func Find(ctx context.Context, f *evaluate.Findings) (*Findings, error) {
	out := &Findings{}
	if f.Map == nil {
		return nil, ErrNoVectors
	}
	if f.Map.Steady == nil {
		out.Notes = append(out.Notes, remark.New("sources.no_background"))
	} else if err := sourcesOf(ctx, f, out, survey.StateUnpowered, f.Map.Steady); err != nil {
		return nil, err
	}
	for _, l := range f.Craft.Loads {
		if m := f.Map.Loads[l.Name]; m != nil {
			if err := sourcesOf(ctx, f, out, l.Name, m); err != nil {
				return nil, err
			}
		}
	}
	if len(out.States) == 0 {
		return nil, ErrNoVectors
	}
	signal, left := 0.0, 0.0
	for _, s := range out.States {
		signal, left = signal+s.signal, left+s.left
	}
	if signal > 0 {
		out.Unexplained = min(1, left/signal)
	}
	return out, nil
}

func sourcesOf(ctx context.Context, f *evaluate.Findings, out *Findings, state string, m evaluate.Field) error {
	r, ok := m.(ReadingField)
	if !ok {
		return nil
	}
	d := r.Readings()
	found, err := Search(ctx, f, state, d)
	if err != nil {
		return err
	}
	s, _ := Describe(f, state, d, found)
	out.States = append(out.States, s)
	_, leads := f.NamedFor(state)
	out.Notes = append(out.Notes, notesOf(f, s, len(leads) > 0)...)
	return nil
}

// Search fits sources to the readings of a state: first the named magnets and
// leads of the craft, then unnamed ones.
func Search(ctx context.Context, f *evaluate.Findings, state string, d magmath.Readings) (*source.Found, error) {
	magnets, leads := f.NamedFor(state)
	o := source.Options{SpacingMM: f.SpacingMM()}
	if l, ok := f.Craft.LoadByName(state); ok && l.Kind == survey.LoadCurrent {
		o.CurrentA, o.MostLeads = l.MaxCurrentA, 2
		if len(leads) > 0 {
			o.MostLeads = 1
		}
	}
	found, err := source.Find(ctx, d, magnets, leads, o)
	if err != nil {
		return nil, fmt.Errorf("sources of %q: %w", state, err)
	}
	return found, nil
}

// Describe returns the sources found in the readings of a state, the largest
// share first; order holds the index of each among found.Sources.
func Describe(f *evaluate.Findings, state string, d magmath.Readings, found *source.Found) (s StateSources, order []int) {
	s = StateSources{State: state, Stations: len(d.At), Unexplained: found.Unexplained, Quiet: found.Quiet, Scale: found.Scale}
	if signal := found.ChiSquare - float64(3*(len(d.At)-len(found.Lone))); !found.Quiet && signal > 0 {
		s.signal, s.left = signal, found.Unexplained*signal
	}
	order = make([]int, len(found.Sources))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(found.Sources[b].Share, found.Sources[a].Share)
	})
	for _, i := range order {
		s.Sources = append(s.Sources, sourceFinding(f, state, found.Sources[i]))
	}
	for _, c := range found.Nothing {
		s.Nothing = append(s.Nothing, sourceFinding(f, state, c))
	}
	for _, a := range found.Alike {
		s.Alike = append(s.Alike, [2]int{slices.Index(order, a.I), slices.Index(order, a.J)})
	}
	for _, i := range found.Lone {
		s.Lone = append(s.Lone, stationAt(f, d.At[i]))
	}
	return s, order
}

// stationAt returns the station whose sensor was nearest to p.
func stationAt(f *evaluate.Findings, p r3.Vec) string {
	name, best := "", math.Inf(1)
	for _, s := range f.Stations {
		if d := r3.Norm(r3.Sub(s.Sensor, p)); d < best {
			name, best = s.Station.Name, d
		}
	}
	return name
}

func sourceFinding(f *evaluate.Findings, state string, c source.Fitted) Source {
	s := Source{Fitted: c, State: state, BudgetUT: f.ShiftingBudgetUT()}
	doubt, limitDoubt := 0.0, f.HSDUT()/max(f.HUT, f.HSDUT()) // relative standard uncertainties: of the current, of H in the budget
	if state == survey.StateUnpowered {
		s.BudgetUT, limitDoubt = f.SteadyBudgetUT(), 0
	} else if l, ok := f.Craft.LoadByName(state); ok && l.Kind == survey.LoadCurrent {
		doubt = f.CurrentSD(state)
		s.widen(doubt)
	}
	safe := func(distance func(limitUT float64) float64) SafeDistances {
		return SafeDistances{distance(s.BudgetUT), distance(source.StandardLimitUT), distance(source.ReducedLimitUT)}
	}
	s.SafeMM = safe(c.SafeDistance)
	s.SafeUpper95MM = safe(func(limitUT float64) float64 { return c.SafeDistanceUpper95(limitUT, doubt) })
	s.SafeUpper95MM.Budget = c.SafeDistanceUpper95(s.BudgetUT, math.Hypot(doubt, limitDoubt))
	s.Nearest = NearestPart(f, c.AtMM, c.Name)
	if c.Name != "" {
		s.StrayMM = r3.Norm(r3.Sub(c.AtMM, c.FromMM))
	} else {
		s.Probably = probably(f, s)
	}
	return s
}

// widen adds the uncertainty of the load's current, which scales all strengths.
func (s *Source) widen(sd float64) {
	s.MomentCov = s.MomentCov.Add(magmath.Outer(s.MomentAm2, s.MomentAm2).Scale(sd * sd))
	s.CurrentSD = math.Hypot(s.CurrentSD, sd*s.CurrentA)
}

// NearestPart returns the described part nearest to a place, except the one named
// other; the datum if there is none within 150 mm.
func NearestPart(f *evaluate.Findings, at r3.Vec, other string) Nearest {
	best := Nearest{Offset: at}
	size := 150.0
	for _, p := range f.Craft.Parts {
		if p.Name == other || p.AtMM == nil {
			continue
		}
		if d := r3.Sub(at, *p.AtMM); r3.Norm(d) < size {
			best, size = Nearest{p.Name, d}, r3.Norm(d)
		}
	}
	return best
}

// The largest distance between an unnamed source and the part that it is taken
// for: at least partMM, since parts are not points, and at most partMostMM,
// however uncertain the place. Common practice, no source.
const (
	partMM     = 15
	partMostMM = 30
)

// probably returns the part at whose place an unnamed source lies, or nothing.
func probably(f *evaluate.Findings, s Source) string {
	if s.Kind != source.KindDipole || s.Nearest.Part == "" {
		return ""
	}
	d := r3.Norm(s.Nearest.Offset)
	if d <= max(partMM, min(partMostMM, 2*math.Sqrt(s.AtCov.Trace()))) {
		return s.Nearest.Part
	}
	return ""
}

func notesOf(f *evaluate.Findings, s StateSources, hasLead bool) []remark.Remark {
	var out []remark.Remark
	for _, name := range s.Lone {
		out = append(out, remark.New("sources.lone_station", remark.Values{"state": s.State}).At(remark.Place{Station: name}))
	}
	if l, ok := f.Craft.LoadByName(s.State); ok && l.Kind == survey.LoadCurrent && !hasLead && !s.Quiet {
		out = append(out, remark.New("sources.no_lead").At(remark.Place{Load: s.State}))
	}
	if s.Scale > 2 {
		out = append(out, remark.New("sources.misfit", remark.Values{"state": s.State, "times": math.Sqrt(s.Scale)}))
	}
	if s.Stations < 4 {
		out = append(out, remark.New("sources.few_stations", remark.Values{"state": s.State, "stations": s.Stations}))
	}
	return out
}
