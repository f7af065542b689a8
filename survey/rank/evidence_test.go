package rank

import (
	"context"
	"encoding/json"
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/fieldmap"
	"quietmount/magmath/heading"
	"quietmount/magmath/simtest"
	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// How the evidence is gathered, piece by piece:
//
//	go test ./survey/rank -run TestEvidence -craft 250 -from 500000 -out piece1.jsonl -timeout 0
//
// and made into the table of testdata/evidence.md from all pieces:
//
//	cat piece*.jsonl > all.jsonl; go test ./survey/rank -run TestEvidenceTable -table all.jsonl
var (
	evidenceFrom = flag.Uint64("from", 500000, "seed of the first craft of the evidence")
	evidenceOut  = flag.String("out", "", "file to append one line a craft and row to")
	evidenceIn   = flag.String("table", "", "file of such lines to make the table of")
)

// row is one way to survey: a line of the table.
type row struct {
	Name   string
	Pulsed bool
	Hard   bool
	More   bool // five more stations, as asked for
	Rough  bool // a craft that keeps to none of the laws of the fit
}

func rows() []row {
	return []row{
		{Name: "two walks"},
		{Name: "pulsed", Pulsed: true},
		{Name: "pulsed, five more stations", Pulsed: true, More: true},
		{Name: "pulsed, complications", Pulsed: true, Hard: true},
		{Name: "pulsed, complications, five more stations", Pulsed: true, Hard: true, More: true},
		{Name: "pulsed, roughly built", Pulsed: true, Rough: true},
	}
}

// trial is what became of one craft in one row.
type trialResult struct {
	Row       string
	Seed      uint64
	Family    trial.Family
	Odd       trial.Complication
	Part      float64 // of the maximum current on the bench
	Regret    float64 // degrees
	Held      bool    // the first spot's bound was not exceeded
	Mountable bool    // every spot listed
	Rivals    bool    // whether the next four were found
	Plain     float64 // regret of the plain yardstick
	PlainHeld bool
	Told      float64 // regret of the fit that is told all sources
	TellHeld  bool
	Cover     map[string][2]int // "steady 0", "load 60": components inside their 95 % interval, of how many
	Shift     []float64         // true heading error at the first spot, its estimate and its bound
}

// survey of one random craft and what is made of it.
type examined struct {
	t    *trial.Trial
	runs []*logbook.Run
	f    *evaluate.Findings
	r    *ranker
	best float64 // true error at the truly best mountable place
}

const evidenceStepMM = 8

// rivalEvery is which part of the craft the rivals are tried on, in rows
// without further stations: every third, of all families in turn.
const rivalEvery = 3

func examine(tb testing.TB, t *trial.Trial, runs []*logbook.Run) (*examined, bool) {
	e := &examined{t: t, runs: runs, f: evaluatetest.Evaluate(tb, t.World.Craft, runs)}
	e.r = newRanker(context.Background(), e.f, Options{StepMM: evidenceStepMM}.withDefaults())
	e.r.screen()
	e.r.score(e.r.free, e.r.s.of)
	if len(e.r.free) == 0 {
		return nil, false
	}
	e.r.choose()
	if len(e.r.out.Spots) == 0 {
		return nil, false
	}
	e.best = math.Inf(1)
	for _, i := range e.r.free {
		e.best = min(e.best, e.truth(e.r.cands[i].Place))
	}
	return e, true
}

func (e *examined) truth(p siting.Place) float64 {
	return truth(e.t.World, e.f, e.r.s.sensors([]siting.Place{p})[0])
}

// more walks the stations that the ranking asked for, every load pulsed.
func (e *examined) more() []*logbook.Run {
	var asked []survey.Station
	for i, n := range e.r.out.NextStations {
		asked = append(asked, survey.Station{Name: "N" + string(rune('1'+i)), At: n.At})
	}
	runs, clock, rng := slices.Clone(e.runs), 7200.0, rand.New(rand.NewPCG(e.t.Seed, 0xa4))
	for i, l := range e.t.World.Craft.Loads {
		stated := e.t.CurrentPart * l.MaxCurrentA
		o := trial.RunOptions{
			State: l.Name, CurrentA: evaluatetest.Misstated(stated, rng), Stations: asked,
			Pulsed: true, Rhythm: logbook.Rhythm{Pulses: 6, OnS: 1.5, OffS: 1.5, DropS: 0.5},
			Number: len(runs) + 1, Seed: e.t.Seed*100 + 50 + uint64(i), ClockS: clock, Started: walktest.Day.Add(time.Duration(clock) * time.Second),
		}
		run := trial.Captures(e.t.World, e.t.Probe, e.t.Hand, o)
		run.Header.CurrentA = new(stated)
		runs = append(runs, run)
		clock += 900
	}
	return runs
}

func (e *examined) result(ctx context.Context, w row) trialResult {
	first := e.r.out.Spots[0]
	got := e.truth(siting.Place{At: r2.Vec{X: first.At.X, Y: first.At.Y}, HeightMM: first.HeightMM})
	res := trialResult{
		Row: w.Name, Seed: e.t.Seed, Family: e.t.Family, Odd: e.t.Complication, Part: e.t.CurrentPart,
		Regret: got - e.best, Held: got <= first.Shifting.Upper95, Mountable: true,
		Shift: []float64{got, first.Shifting.Estimate, first.Shifting.Upper95},
	}
	for _, s := range e.r.out.Spots {
		if len(e.f.Craft.Obstacles(r2.Vec{X: s.At.X, Y: s.At.Y})) > 0 {
			res.Mountable = false
		}
	}
	if !w.More && e.t.Seed%rivalEvery == 0 {
		res.Rivals = true
		res.Plain, res.PlainHeld = e.rival(plainFields(e.f))
		res.Told, res.TellHeld = e.rival(toldFields(ctx, e.t.World, e.f))
	}
	res.Cover = e.coverage()
	return res
}

// rival is the regret of other maps of the loads, on the same candidates.
func (e *examined) rival(loads map[string]evaluate.Field) (regret float64, held bool) {
	f := *e.f
	f.Map = &evaluate.Map{Steady: nil, Loads: loads, Combinations: e.f.Map.Combinations}
	s := newScorer(context.Background(), &f)
	places := make([]siting.Place, len(e.r.free))
	for k, i := range e.r.free {
		places[k] = e.r.cands[i].Place
	}
	best, at := math.Inf(1), 0
	scores := s.of(places)
	for k, x := range scores {
		if e.r.scores[e.r.free[k]].SteadyOK && x.cost < best {
			best, at = x.cost, k
		}
	}
	got := e.truth(places[at])
	return got - e.best, got <= scores[at].Shifting.Upper95
}

// coverage counts the components inside their 95 % interval over the mountable
// area, by height above it.
func (e *examined) coverage() map[string][2]int {
	out := map[string][2]int{}
	for k := 0; k < len(e.r.free); k += 1 + len(e.r.free)/80 {
		i, c := e.r.free[k], out["bound"]
		c[1]++
		if e.truth(e.r.cands[i].Place) <= e.r.scores[i].Shifting.Upper95 {
			c[0]++
		}
		out["bound"] = c
	}
	for _, h := range []float64{0, 25, 60} {
		var places []siting.Place
		for k := 0; k < len(e.r.free); k += 1 + len(e.r.free)/40 {
			places = append(places, siting.Place{At: e.r.cands[e.r.free[k]].At, HeightMM: h})
		}
		points := e.r.s.sensors(places)
		count := func(key string, f evaluate.Field, real func(r3.Vec) r3.Vec) {
			c := out[key]
			mean, cov := fieldmap.Predict(f, points)
			for i, p := range points {
				d := r3.Sub(mean[i], real(p))
				for k, x := range []float64{d.X, d.Y, d.Z} {
					c[1]++
					if math.Abs(x) <= 1.959964*math.Sqrt(cov[i][k][k]) {
						c[0]++
					}
				}
			}
			out[key] = c
		}
		at := map[float64]string{0: " 0", 25: " 25", 60: " 60"}[h]
		if e.f.Map.Steady != nil {
			count("steady"+at, e.f.Map.Steady, e.t.World.Steady)
		}
		for _, l := range e.f.Craft.Loads {
			if m := e.f.Map.Loads[l.Name]; m != nil {
				count("load"+at, m, func(p r3.Vec) r3.Vec { return e.t.World.LoadField(l.Name, l.MaxCurrentA, p) })
			}
		}
	}
	return out
}

// gather surveys the craft of one seed in every row.
func gather(tb testing.TB, seed uint64, only func(row) bool) []trialResult {
	var out []trialResult
	family := trial.Families()[seed%4]
	for _, w := range rows() {
		if w.More || !only(w) {
			continue
		}
		t, err := trial.Random(seed, family, w.Hard)
		if err != nil {
			tb.Fatal(err)
		}
		if w.Rough {
			t = t.Rough()
		}
		e, ok := examine(tb, t, evaluatetest.TrialRuns(t, w.Pulsed))
		if !ok {
			continue
		}
		out = append(out, e.result(tb.Context(), w))
		w.More, w.Name = true, w.Name+", five more stations"
		if !w.Pulsed || w.Rough || !only(w) {
			continue
		}
		if again, ok := examine(tb, t, e.more()); ok {
			out = append(out, again.result(tb.Context(), w))
		}
	}
	return out
}

var evidenceRows = flag.String("row", "", "only the row of that name")

// Random craft never used to develop anything: the first spot is nearly the
// best there is, its bound holds, every spot can be mounted on. A few craft
// show that all is in order; hundreds make the table. One craft is surveyed with
// complications only, unless the whole evidence is asked for.
func TestEvidence(t *testing.T) {
	wanted := func(w row) bool {
		if *evidenceRows != "" {
			return *evidenceRows == w.Name
		}
		return *evaluatetest.CraftCount > 1 || simtest.Whole() || w.Hard
	}
	var all []trialResult
	for i := range *evaluatetest.CraftCount {
		some := gather(t, *evidenceFrom+uint64(i), wanted)
		all = append(all, some...)
		if *evidenceOut != "" {
			appendLines(t, *evidenceOut, some)
		}
	}
	for _, r := range all {
		if !r.Mountable {
			t.Errorf("seed %d, %s: a spot that cannot be mounted on", r.Seed, r.Row)
		}
		if r.Regret > 15 {
			t.Errorf("seed %d, %s: a regret of %.1f degrees", r.Seed, r.Row, r.Regret)
		}
	}
	t.Log("\n" + table(all))
	if *evaluatetest.CraftCount >= 50 {
		checkTargets(t, all)
	}
}

// checkTargets holds the figures of many craft against what is asked of them.
func checkTargets(t *testing.T, all []trialResult) {
	for _, c := range []struct {
		row               string
		median, ninetieth float64 // degrees, at most
		small, one        float64 // parts within 0.3 and 1 degree, at least
	}{
		{"two walks", 1.5, math.Inf(1), 0, 0.45},
		{"pulsed", 0.4, 3, 0.5, 0.72},
		{"pulsed, five more stations", 0.2, math.Inf(1), 0, 0.88},
	} {
		some := slices.DeleteFunc(slices.Clone(all), func(r trialResult) bool { return r.Row != c.row })
		if len(some) == 0 {
			continue
		}
		x, held := column(some, func(r trialResult) (float64, bool) { return r.Regret, r.Held })
		n := float64(len(x))
		small, one := float64(countWithin(x, 0.3))/n, float64(countWithin(x, 1))/n
		if at(x, 0.5) > c.median || at(x, 0.9) > c.ninetieth || small < c.small || one < c.one || float64(held)/n < 0.93 {
			t.Errorf("%s: median %.2f, 90th percentile %.2f, within 0.3 %.2f, within 1 %.2f, bound held %.2f", c.row, at(x, 0.5), at(x, 0.9), small, one, float64(held)/n)
		}
	}
}

func appendLines(t *testing.T, name string, some []trialResult) {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	enc := json.NewEncoder(f)
	for _, r := range some {
		if err := enc.Encode(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestEvidenceTable(t *testing.T) {
	if *evidenceIn == "" {
		t.Skip("no -table: nothing to make a table of")
	}
	f, err := os.Open(*evidenceIn)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []trialResult
	for dec := json.NewDecoder(f); dec.More(); {
		var r trialResult
		if err := dec.Decode(&r); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	t.Log("\n" + table(all))
}

// truth is the true worst shifting error at a place, degrees.
func truth(w *sim.World, f *evaluate.Findings, at r3.Vec) float64 {
	fields := map[string]r3.Vec{}
	for _, l := range w.Craft.Loads {
		fields[l.Name] = w.LoadField(l.Name, l.MaxCurrentA, at)
	}
	ws, most := evaluate.NewWorst(w.Craft, fields), 0.0
	for _, combo := range ws.Combos {
		var d r3.Vec
		for _, k := range combo {
			d = r3.Add(d, fields[ws.Names[k]])
		}
		deg, _ := heading.Worst(d, f.HUT, w.Craft.Limits.TiltDeg)
		most = max(most, deg)
	}
	return most
}
