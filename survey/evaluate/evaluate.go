package evaluate

import (
	"context"
	"fmt"
	"iter"
	"reflect"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/remark"
	"quietmount/magmath/room"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Evaluate turns runs into findings. Runs of states that the craft file does
// not know are left out with a note; an unusable capture is left out and named
// in a note. It starts from the raw samples and does not use the means shown
// during the walk.
//
// Errors: ErrNoRuns, ErrNothing, a bad date or site, and the error of ctx after
// its end.
func Evaluate(ctx context.Context, craft *survey.Craft, runs []*logbook.Run, o Options) (*Findings, error) {
	if craft == nil {
		return nil, fmt.Errorf("no craft: %w", ErrNothing)
	}
	if len(runs) == 0 {
		return nil, ErrNoRuns
	}
	f := &Findings{Craft: craft, LeftOut: map[string]LeftOut{}, Factor: 1}
	f.Runs = f.usable(runs)
	if err := f.setReference(o); err != nil {
		return nil, err
	}
	if craft.Limits.TiltAssumed {
		f.note(remark.New("evaluate.lean_assumed", remark.Values{"tilt_deg": craft.Limits.TiltDeg}))
	}
	e := newEvaluation(f)
	e.tell = o.Progress
	for _, r := range f.Runs {
		e.far.OfCaptures += len(r.Valid())
	}
	e.far.OfMaps = (drafts + 1) * (1 + len(craft.Loads))
	f.from = e
	if err := e.gather(ctx); err != nil {
		return nil, err
	}
	if err := e.solve(ctx); err != nil {
		return nil, err
	}
	e.report(ctx)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("evaluate runs: %w", err)
	}
	return f, nil
}

// progress tells that so many captures and maps more are done.
func (e *evaluation) progress(captures, maps int) {
	e.far.Captures, e.far.Maps = e.far.Captures+captures, e.far.Maps+maps
	if e.tell != nil {
		e.tell(e.far)
	}
}

// note adds the remarks that are not among the notes yet.
func (f *Findings) note(all ...remark.Remark) {
	for _, r := range all {
		if !slices.ContainsFunc(f.Notes, func(n remark.Remark) bool { return reflect.DeepEqual(n, r) }) {
			f.Notes = append(f.Notes, r)
		}
	}
}

// usable returns the runs whose state is in the craft file, in the order of their
// numbers, and sets proofs aside.
func (f *Findings) usable(runs []*logbook.Run) []*logbook.Run {
	var out []*logbook.Run
	for _, r := range runs {
		if r == nil {
			continue
		}
		h := r.Header
		at := remark.Place{Run: h.Run}
		if err := f.Craft.State(h.State); err != nil {
			f.note(remark.New("evaluate.run_left_out", remark.Values{"cause": err}).At(at))
			continue
		}
		if IsProof(f.Craft, r) {
			failed := r.Failed()
			if failed == nil {
				f.Proofs = append(f.Proofs, r)
				continue
			}
			f.FailedProofs = append(f.FailedProofs, r)
			if len(h.Together) > 0 {
				continue // of which load the field is cannot be told
			}
			f.note(remark.New("evaluate.failed_proof").At(at))
		} else if len(h.Together) > 0 {
			f.note(remark.New("evaluate.together").At(at))
			continue
		}
		if h.CraftSHA256 != "" && f.Craft.SHA256 != "" && h.CraftSHA256 != f.Craft.SHA256 {
			f.note(remark.New("evaluate.craft_changed").At(at))
		}
		if h.Axes == nil {
			f.note(remark.New("evaluate.no_axes").At(at))
		}
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b *logbook.Run) int { return a.Header.Run - b.Header.Run })
	return out
}

// evaluation is the state of Evaluate at work: readings, joint solution and maps.
type evaluation struct {
	far  Progress
	tell func(Progress) // nil: nobody asks

	f          *Findings
	index      index
	readings   []reading
	obs        []room.Observation // one for each reading that is not saturated
	from       []int              // the reading of each observation
	obsAt      [][]int            // the observations of each station, in their order
	readAt     [][]int            // the readings of each station, in their order
	walked     map[int]bool       // loads that were captured without being pulsed
	currents   map[*logbook.Run]current
	currentSDs map[int]float64 // by load, see currentSD
	setups     []*setup
	offsets    map[int]float64 // wider priors of runs that borrowed a background
	result     *room.Result
	maps       maps
	magnets    []source.Magnet // places that are magnetic, offered to every load that carries a current
	spacing    float64

	background map[int]bool    // rooms with a background
	doubted    map[int]float64 // observations that contradict the others, and by how many standard deviations
}

func newEvaluation(f *Findings) *evaluation {
	e := &evaluation{f: f, offsets: map[int]float64{}, background: map[int]bool{}, doubted: map[int]float64{}, walked: map[int]bool{}, currentSDs: map[int]float64{}}
	if f.Craft.Base != nil {
		e.index.base = f.Craft.Base.Name
	}
	return e
}

// gather makes vectors of the captures and numbers rooms, runs and stations.
func (e *evaluation) gather(ctx context.Context) error {
	e.takeSetups()
	for _, r := range e.f.Runs {
		take := locate
		if r.Header.Pulsed {
			take = difference
		}
		some, notes := take(ctx, r, e.f.unitOf(r).RangeUT)
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("evaluate runs: %w", err)
		}
		e.progress(len(r.Valid()), 0)
		e.f.note(notes...)
		e.readings = append(e.readings, some...)
	}
	for i := range e.readings {
		rd := &e.readings[i]
		station := e.index.of(&rd.Capture, e.f.unitOf(rd.run))
		for len(e.obsAt) < len(e.index.stations) {
			e.obsAt, e.readAt = append(e.obsAt, nil), append(e.readAt, nil)
		}
		e.readAt[station] = append(e.readAt[station], i)
		if rd.Saturated {
			continue
		}
		o := e.observation(rd, station)
		e.background[o.Room] = e.background[o.Room] || !o.Craft
		if o.Load != room.NoLoad && !o.Pulsed {
			e.walked[o.Load] = true
		}
		e.obsAt[station] = append(e.obsAt[station], len(e.obs))
		e.obs = append(e.obs, o)
		e.from = append(e.from, i)
	}
	if len(e.obs) == 0 {
		return ErrNothing
	}
	e.remarkCopies()
	e.spacing = e.index.spacing(e.f.Craft)
	return nil
}

func (e *evaluation) takeSetups() {
	all, borrowed, notes := borrow(setups(e.f.Runs))
	e.setups = all
	e.f.note(notes...)
	for _, r := range borrowed {
		e.offsets[e.runNumber(r)] = borrowedOffsetUT
	}
	for i, s := range all {
		for _, o := range all[:i] {
			if logbook.NosesDiffer(s.Nose, o.Nose) {
				e.f.note(remark.New("evaluate.noses_differ"))
			}
		}
	}
}

func (e *evaluation) runNumber(r *logbook.Run) int { return slices.Index(e.f.Runs, r) }

func (e *evaluation) roomOf(r *logbook.Run) int {
	return slices.IndexFunc(e.setups, func(s *setup) bool { return slices.Contains(s.runs, r) })
}

// of yields the observations of a station with their numbers, in their order.
func (e *evaluation) of(station int) iter.Seq2[int, *room.Observation] {
	return func(yield func(int, *room.Observation) bool) {
		for _, i := range e.obsAt[station] {
			if !yield(i, &e.obs[i]) {
				return
			}
		}
	}
}

func (e *evaluation) observation(rd *reading, station int) room.Observation {
	h := rd.run.Header
	o := room.Observation{
		B: rd.B, Cov: rd.Cov, At: e.f.unitOf(rd.run).SensorAt(rd.Capture.At, 0), TS: rd.Ts,
		Room: e.roomOf(rd.run), Run: e.runNumber(rd.run),
		Station: station,
		Craft:   h.State != survey.StateBackground,
		Load:    room.NoLoad, Pulsed: rd.pulsed,
	}
	if i := e.load(h.State); i >= 0 && !rd.Off {
		o.Load, o.Level = i, e.level(rd.run, e.f.Craft.Loads[i])
	}
	return o
}

func (e *evaluation) load(state string) int {
	return slices.IndexFunc(e.f.Craft.Loads, func(l survey.Load) bool { return l.Name == state })
}

// priors returns the prior of the craft's disturbance at each station.
func (e *evaluation) priors() []room.Station {
	out := make([]room.Station, len(e.index.stations))
	for i, p := range e.index.stations {
		if p.IsBase {
			out[i].PriorUT = basePrior(e.f.Craft, p.At)
		}
	}
	return out
}

// drafts is the number of fits whose gradients enter the noise of the captures
// before the last fit.
const drafts = 2

// solve alternates between the joint least squares and the maps, whose
// gradients say what a millimetre of placement costs at each station.
func (e *evaluation) solve(ctx context.Context) error {
	stations := e.priors()
	for pass := range drafts + 1 {
		draft := pass < drafts
		r, err := room.Solve(ctx, e.obs, stations, room.Options{OffsetUT: e.offsets, Fixed: draft})
		if err != nil {
			return fmt.Errorf("evaluate runs: %w", err)
		}
		e.result = r
		e.maps = maps{} // frees the drafts: a map of many stations is large
		e.maps = e.fitMaps(ctx, draft)
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("evaluate runs: %w", err)
		}
		if draft {
			e.takeGradients()
		}
		if pass == drafts-1 {
			e.doubt()
		}
	}
	return nil
}

// contradictionSD is how many standard deviations, of an ordinary hand, a
// capture may be from what all others say of it before it is doubted.
const contradictionSD = 4.5

// doubt marks the captures that contradict the others and widens them by what
// they are off: otherwise they would make the hand's scatter too large at every
// station. It is called before the hand's scatter is estimated.
func (e *evaluation) doubt() {
	for i := range e.obs {
		off, size := e.result.Residual(i)
		if !(size > contradictionSD) {
			continue
		}
		e.doubted[i] = size
		v := r3.Norm2(off) / 3
		e.obs[i].Cov = e.obs[i].Cov.Add(magmath.Diagonal(v, v, v))
	}
}

// placeShares are the shares of the placement error along x, y and z: the hand
// misses the mark along the surface, which holds the foot in height.
var placeShares = magmath.Diagonal(1, 1, 0.2)

func (e *evaluation) takeGradients() {
	steady := gradients(e.maps.steady)
	loads := make([]func(r3.Vec) magmath.Mat3, len(e.maps.loads))
	for l, m := range e.maps.loads {
		loads[l] = gradients(m)
	}
	for i := range e.obs {
		o := &e.obs[i]
		g := e.result.Gradient(o.Room)
		if o.Pulsed {
			g = g.Scale(0)
		} else if o.Craft {
			g = g.Add(steady(o.At))
		}
		if o.Load != room.NoLoad {
			g = g.Add(loads[o.Load](o.At).Scale(o.Level))
		}
		o.Gradient = g.Mul(placeShares)
	}
}

// gradients returns the gradient of a map, computed once for each place; zero for a
// nil map.
func gradients(m *fieldmap.Map) func(at r3.Vec) magmath.Mat3 {
	seen := map[r3.Vec]magmath.Mat3{}
	return func(at r3.Vec) magmath.Mat3 {
		g, ok := seen[at]
		if !ok && m != nil {
			g = m.Gradient(at)
			seen[at] = g
		}
		return g
	}
}
