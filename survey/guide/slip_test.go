package guide

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// scene is an invented craft with magnets and leads' worth of gradient under
// and beside the stations.
func scene(seed uint64) []magnet {
	rng := rand.New(rand.NewPCG(seed, 3))
	var out []magnet
	for range 1 + rng.IntN(4) {
		strength := math.Exp(rng.Float64()*3 - 4) // 0.018 to 0.37 A m^2
		dir := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		out = append(out, magnet{
			at:     r3.Vec{X: rng.Float64()*500 - 250, Y: rng.Float64()*260 - 130, Z: 15 + rng.Float64()*60},
			moment: r3.Scale(strength, dir),
		})
	}
	return out
}

// plainScene is a craft with magnets well under the stations: gradients are
// clear and the stations lie densely enough to see them.
func plainScene(seed uint64) []magnet {
	rng := rand.New(rand.NewPCG(seed, 4))
	var out []magnet
	for range 2 + rng.IntN(3) {
		dir := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		out = append(out, magnet{
			at:     r3.Vec{X: rng.Float64()*500 - 250, Y: rng.Float64()*260 - 130, Z: 60 + rng.Float64()*60},
			moment: r3.Scale(0.1+0.3*rng.Float64(), dir),
		})
	}
	return out
}

// walks is how many walks a simulation takes, of whole in all.
func walks(whole int) int { return simtest.Trials(max(2, whole/4), whole) }

// quickWalk feeds captures without the tedium of samples: it makes the guide
// believe the dwell of every visit, with a hand's tilt and misplacement.
func quickWalk(t testing.TB, w *Walk, seed uint64, magnets []magnet, wrong map[string]r3.Vec, turned map[string]int) []Event {
	t.Helper()
	h := newHand(t, seed)
	h.magnets = magnets
	var said []Event
	events := w.Start()
	for range 2000 {
		var next *Event
		for i, e := range events {
			said = append(said, e)
			if e.Kind == Go {
				next = &events[i]
			}
		}
		if w.Over() || next == nil {
			return said
		}
		at := r3.Add(next.Station.At, r3.Vec{X: h.rng.NormFloat64() * h.offMM, Y: h.rng.NormFloat64() * h.offMM})
		if p, ok := wrong[next.Station.Name]; ok {
			at = p
		}
		turn := h.pose()
		if deg, ok := turned[next.Station.Name]; ok {
			turn = turnedRight(deg).Mul(turn)
		}
		b := turn.Apply(fieldAt(at, magnets))
		w.see(w.ts + 12)
		w.pending = &logbook.Capture{Number: w.next, Station: next.Station.Name, At: next.Station.At, Visit: next.Visit, BUT: b}
		w.verdict, w.phase = verdict{b: b, noise: 0.3}, storing
		events = w.Stored(w.next)
	}
	t.Fatal("the walk does not end")
	return nil
}

func slipsIn(events []Event) (out []Event) {
	for _, e := range events {
		switch e.Code() {
		case CodeWrongMark, CodeTurnedArrow, "lifted":
			out = append(out, e)
		}
	}
	return out
}

// TestHonestWalksAreHardlyEverAccused: under two in a hundred stations, over
// fields with up to hundreds of microtesla next to magnets.
func TestHonestWalksAreHardlyEverAccused(t *testing.T) {
	accused, stations := 0, 0
	byCode := map[string]int{}
	for seed := range uint64(walks(16)) {
		w := mustNew(t, plain(hull(9, 5, true)))
		events := quickWalk(t, w, seed, scene(seed), nil, nil)
		stations += 45
		for _, e := range slipsIn(events) {
			accused++
			byCode[e.Code()]++
		}
	}
	t.Logf("%d remarks over %d stations (%.2f %%): %v", accused, stations, 100*float64(accused)/float64(stations), byCode)
	if accused*50 > stations {
		t.Errorf("%d of %d honest stations accused, want under 2 %%", accused, stations)
	}
}

// TestTurnedArrowIsNamed puts one probe down with its arrow wrong.
func TestTurnedArrowIsNamed(t *testing.T) {
	for _, deg := range []int{180, 90, -90} {
		named, wrongly, walks := 0, 0, simtest.Trials(4, 10)
		for seed := range uint64(walks) {
			w := mustNew(t, plain(hull(9, 5, true)))
			names := w.marks()
			victim := names[rand.New(rand.NewPCG(seed, 9)).IntN(len(names))].Name
			for _, e := range slipsIn(quickWalk(t, w, seed, plainScene(seed), nil, map[string]int{victim: deg})) {
				switch {
				case e.Station.Name == victim && e.Code() == CodeTurnedArrow && reflect.DeepEqual(e.Why, turnedArrow(victim, deg)):
					named++
				default:
					wrongly++
				}
			}
		}
		t.Logf("%d degrees: %d of %d named, %d other remarks", deg, named, walks, wrongly)
		// A quarter turn changes less, and is named where the map is well known.
		least := 5
		if deg == 180 {
			least = 8
		}
		if 10*named < least*walks {
			t.Errorf("an arrow turned by %d degrees was named in %d of %d walks, want %d in 10", deg, named, walks, least)
		}
		if wrongly > walks/3 {
			t.Errorf("an arrow turned by %d degrees led to %d other remarks in %d walks", deg, wrongly, walks)
		}
	}
}

// TestSwappedMarksAreNamed exchanges two neighbours where the field changes
// clearly between them, with and without an earlier run to compare with.
func TestSwappedMarksAreNamed(t *testing.T) {
	walksOf := simtest.Trials(6, 14)
	for _, prior := range []bool{false, true} {
		named, wrongly, walks := 0, 0, 0
		for seed := range uint64(walksOf) {
			magnets := plainScene(seed)
			c := hull(9, 5, true)
			a, b, ok := clearPair(c.Stations(), magnets)
			if !ok {
				continue
			}
			walks++
			cfg := plain(c)
			if prior {
				cfg.Prior = map[string]r3.Vec{}
				for _, s := range c.Stations() {
					cfg.Prior[s.Name] = fieldAt(s.At, magnets)
				}
			}
			hit := false
			for _, e := range slipsIn(quickWalk(t, mustNew(t, cfg), seed, magnets, map[string]r3.Vec{a.Name: b.At, b.Name: a.At}, nil)) {
				if e.Code() == CodeWrongMark && (e.Station.Name == a.Name || e.Station.Name == b.Name) {
					hit = true
				} else {
					wrongly++
				}
			}
			if hit {
				named++
			}
		}
		t.Logf("earlier run %v: %d of %d swaps named, %d other remarks", prior, named, walks, wrongly)
		least := 5
		if prior {
			least = 9
		}
		if walks < walksOf/2 || named*10 < walks*least {
			t.Errorf("earlier run %v: %d of %d swaps named, want %d in 10", prior, named, walks, least)
		}
	}
}

// clearPair finds neighbours whose field differs by 25 to 80 uT: a clear
// gradient, but no magnet right underneath.
func clearPair(stations []survey.Station, magnets []magnet) (a, b survey.Station, ok bool) {
	for _, s := range stations {
		for _, q := range stations {
			if s.Name < q.Name && r3.Norm(r3.Sub(s.At, q.At)) < 70 {
				d := r3.Norm(r3.Sub(fieldAt(s.At, magnets), fieldAt(q.At, magnets)))
				if d > 25 && d < 80 {
					return s, q, true
				}
			}
		}
	}
	return a, b, false
}

// TestLiftedProbeIsNamed holds a probe 150 mm up over a strong, broad source.
func TestLiftedProbeIsNamed(t *testing.T) {
	magnets := []magnet{{at: r3.Vec{X: 30, Z: 120}, moment: r3.Vec{Z: 1.2}}}
	w := mustNew(t, plain(hull(9, 5, true)))
	events := quickWalk(t, w, 4, magnets, map[string]r3.Vec{"C5": {X: 0, Y: 0, Z: -150}}, nil)
	var got []string
	for _, e := range slipsIn(events) {
		got = append(got, e.Code()+" "+e.Station.Name)
	}
	if len(got) != 1 || got[0] != "lifted C5" {
		t.Errorf("remarks %v, want lifted C5", got)
	}
}
