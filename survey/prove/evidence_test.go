package prove

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath/simtest"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sim/builtcraft"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// How the evidence is gathered, and made into the table of testdata/evidence.md:
//
//	go test ./survey/prove -run TestEvidence -proved 60 -from 700001 -v -timeout 0
var (
	evidenceCraft = flag.Int("proved", 0, "craft of each row of the evidence; 0: a few, or hundreds with the evidence asked for")
	evidenceFrom  = flag.Uint64("from", 0, "seed of the first craft of the evidence; 0: that of the row")
	evidenceRow   = flag.String("row", "", "only the row of that name")
	evidenceFault = flag.String("fault", "", "only the fault of that name")
	evidenceOut   = flag.String("out", "", "file to append the p-values to")
)

// fault is what is wrong with a proof.
type fault string

const (
	honest    fault = "nothing"
	off       fault = "module 10 mm off"
	turned    fault = "module turned 10 degrees"
	magnet    fault = "0.05 A m2 added 80 mm away"
	misread   fault = "one current misstated by 30 per cent"
	elsewhere fault = "wrong spot"
)

func faults() []fault { return []fault{honest, off, turned, magnet, misread, elsewhere} }

// subject is a surveyed craft whose proofs can be made.
type subject struct {
	f     *evaluate.Findings
	spots []rank.Mount
	proof func(at rank.Mount, added *source.Dipole) []*logbook.Run
}

// evidenceRows are the kinds of craft.
func evidenceRows() map[string]func(testing.TB, uint64) (subject, bool) {
	return map[string]func(testing.TB, uint64) (subject, bool){
		"lawful":            lawful,
		"built":             built(builtcraft.Ordinary),
		"built, quiet":      built(builtcraft.Quiet),
		"built, equatorial": built(builtcraft.Equatorial),
		"built, indoor":     built(builtcraft.Indoor),
	}
}

func lawful(t testing.TB, seed uint64) (subject, bool) {
	d, err := trial.Random(seed, trial.Families()[seed%4], false)
	if err != nil {
		t.Fatal(err)
	}
	d.World.Craft.Limits.TiltDeg, d.World.Craft.Limits.SlipMM = 10, 3
	f := evaluatetest.Evaluate(t, d.World.Craft, evaluatetest.TrialRuns(d, true))
	hand := d.Hand
	hand.PlaceMM = d.World.Craft.Limits.SlipMM / 2 // as wide as the disc
	proof := func(at rank.Mount, added *source.Dipole) []*logbook.Run {
		w := *d.World
		if added != nil {
			w.Magnets = append(slices.Clone(w.Magnets), *added)
		}
		rng := rand.New(rand.NewPCG(seed, 0x9f))
		var out []*logbook.Run
		for i, l := range w.Craft.Loads {
			stated := d.CurrentPart * l.MaxCurrentA
			run := trial.Captures(&w, d.Probe, hand, trial.RunOptions{
				Number: 100 + i, State: l.Name, CurrentA: evaluatetest.Misstated(stated, rng), Pulsed: true, BaseEvery: -1,
				Rhythm: logbook.Rhythm{Pulses: 4, OnS: 2, OffS: 2, DropS: 0.5}, Labels: true, Stations: spotted(at, 3),
				Started: walktest.Day.Add(time.Hour), ClockS: 3600 + 300*float64(i), Seed: seed*1000 + uint64(i),
			})
			run.Header.CurrentA = new(stated)
			run.Header.Proof = true
			out = append(out, run)
		}
		return out
	}
	return subjectOf(t, f, proof)
}

// spotted is the spot, set down on so many times.
func spotted(at rank.Mount, times int) []survey.Station {
	return slices.Repeat([]survey.Station{{Name: evaluate.SpotStation, At: at.Foot()}}, times)
}

func built(kind builtcraft.Kind) func(testing.TB, uint64) (subject, bool) {
	return func(t testing.TB, seed uint64) (subject, bool) {
		b := builtcraft.New(seed, kind)
		f := evaluatetest.Evaluate(t, b.Craft, b.Surveys())
		return subjectOf(t, f, func(at rank.Mount, added *source.Dipole) []*logbook.Run {
			craft := b
			if added != nil {
				craft = b.Changed(builtcraft.Change{At: added.AtMM, MomentAm2: added.MomentAm2})
			}
			return craft.Proof(100, r2.Vec{X: at.At.X, Y: at.At.Y}, at.HeightMM, 0, 0, 0)
		})
	}
}

func subjectOf(t testing.TB, f *evaluate.Findings, proof func(rank.Mount, *source.Dipole) []*logbook.Run) (subject, bool) {
	s := subject{f: f, proof: proof}
	if f.Map == nil || len(f.Map.Loads) == 0 {
		return s, false
	}
	r, err := rank.Rank(t.Context(), f, rank.Options{StepMM: 16, Next: -1})
	if err != nil {
		return s, false
	}
	for _, spot := range r.Spots {
		s.spots = append(s.spots, spot.Mount())
	}
	return s, len(s.spots) > 0
}

// proofWith returns the proof of the first spot with a fault; nil where the craft
// cannot have it.
func (s subject) proofWith(what fault, rng *rand.Rand) []*logbook.Run {
	at := s.spots[0]
	angle := 2 * math.Pi * rng.Float64()
	side := r3.Vec{X: math.Cos(angle), Y: math.Sin(angle)}
	switch what {
	case off:
		return said(s.proof(moved(at, r3.Scale(10, side)), nil), at)
	case turned:
		return rotated(s.proof(at, nil), 10)
	case magnet:
		sensor := s.f.Craft.Module.SensorAt(at.Foot(), 0)
		moment := r3.Scale(0.05, r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}))
		return s.proof(at, &source.Dipole{AtMM: r3.Add(sensor, r3.Scale(80, r3.Unit(r3.Add(side, r3.Vec{Z: 1})))), MomentAm2: moment})
	case misread:
		runs := s.proof(at, nil)
		for _, r := range runs {
			if r.Header.CurrentA != nil && *r.Header.CurrentA > 0 {
				r.Header.CurrentA = new(*r.Header.CurrentA * 1.3)
				return runs
			}
		}
		return nil
	case elsewhere:
		if len(s.spots) < 2 {
			return nil
		}
		return said(s.proof(s.spots[1], nil), at)
	}
	return s.proof(at, nil)
}

func moved(at rank.Mount, by r3.Vec) rank.Mount {
	at.At = r3.Add(at.At, by)
	return at
}

// said returns the runs with their captures said to have been at a place.
func said(runs []*logbook.Run, at rank.Mount) []*logbook.Run {
	for _, r := range runs {
		for i := range r.Captures {
			r.Captures[i].At = at.Foot()
		}
	}
	return runs
}

// rotated returns the runs as by a module whose arrow points deg clockwise of the nose.
func rotated(runs []*logbook.Run, deg float64) []*logbook.Run {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	for _, r := range runs {
		axes := *r.Header.Axes
		for i := range r.Captures {
			for k := range r.Captures[i].Samples {
				b := &r.Captures[i].Samples[k].B
				v := axes.Apply(*b)
				*b = axes.Transpose().Apply(r3.Vec{X: cos*v.X + sin*v.Y, Y: -sin*v.X + cos*v.Y, Z: v.Z})
			}
		}
	}
	return runs
}

// kolmogorov returns the probability that the largest distance between the steps of
// n uniform numbers and the line is at least that of p.
//
// Source: M. A. Stephens, Journal of the Royal Statistical Society B 32 (1970) 115, for
// the correction to finite n; A. N. Kolmogorov (1933) for the limit.
func kolmogorov(p []float64) float64 {
	p = slices.Sorted(slices.Values(p))
	n, d := float64(len(p)), 0.0
	for i, v := range p {
		d = max(d, float64(i+1)/n-v, v-float64(i)/n)
	}
	z, sum := d*(math.Sqrt(n)+0.12+0.11/math.Sqrt(n)), 0.0
	for k := 1.0; k < 100; k++ {
		sum += 2 * math.Pow(-1, k-1) * math.Exp(-2*k*k*z*z)
	}
	return min(1, max(0, sum))
}

// The p-values of honest proofs are uniform, and those of faulty ones small: how often
// is told. The second generator's craft are not lawful, so that a slight excess of
// small values is told as it is.
func TestEvidence(t *testing.T) {
	craft := simtest.Trials(3, 200)
	if *evidenceCraft > 0 {
		craft = *evidenceCraft
	}
	rows := evidenceRows()
	for _, name := range slices.Sorted(func(yield func(string) bool) {
		for k := range rows {
			if !yield(k) {
				return
			}
		}
	}) {
		few := name == "lawful" || name == "built"
		if *evidenceRow != "" && name != *evidenceRow || *evidenceRow == "" && !few && !simtest.Whole() {
			continue
		}
		from := uint64(1)
		if *evidenceFrom > 0 {
			from = *evidenceFrom
		}
		values := map[fault][]float64{}
		for seed := from; len(values[honest]) < craft && seed < from+uint64(4*craft); seed++ {
			s, ok := rows[name](t, seed)
			if !ok {
				continue
			}
			rng := rand.New(rand.NewPCG(seed, 0xfa17))
			for _, what := range faults() {
				if *evidenceFault != "" && string(what) != *evidenceFault {
					continue
				}
				s.f.Proofs = s.proofWith(what, rng)
				if s.f.Proofs == nil {
					continue
				}
				p, err := Prove(t.Context(), s.f, s.spots[0])
				if err != nil || math.IsNaN(p.PValue) {
					t.Fatalf("%s, seed %d, %s: %+v, %v", name, seed, what, p, err)
				}
				values[what] = append(values[what], p.PValue)
				if *evidenceOut != "" {
					appendLine(t, *evidenceOut, fmt.Sprintf("%s\t%d\t%s\t%.6g\t%s\t%.3g\t%s", name, seed, what, p.PValue, p.State, p.Scatter.Factor, each(t, s.f, s.spots[0])))
				}
			}
		}
		report(t, name, values)
	}
}

// each returns the p-values of the parts alone.
func each(t *testing.T, f *evaluate.Findings, at rank.Mount) string {
	got, err := f.Proved(t.Context(), evaluate.ProofPlace{At: at.At, Foot: at.Foot()})
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, part := range got.Off.Parts {
		one, _ := got.Off.Of(part)
		out = append(out, fmt.Sprintf("%s %.4f", part, one.PValue()))
	}
	return strings.Join(out, "; ")
}

func appendLine(t *testing.T, name, line string) {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	fmt.Fprintln(f, line)
}

// report prints one row of the table and tests it.
func report(t *testing.T, name string, values map[fault][]float64) {
	p := values[honest]
	var tenths [10]int
	small := 0
	for _, v := range p {
		tenths[min(9, int(10*v))]++
		if v < Significance {
			small++
		}
	}
	ks := kolmogorov(p)
	var cells []string
	for _, what := range faults()[1:] {
		all := values[what]
		seen := 0
		for _, v := range all {
			if v < Significance {
				seen++
			}
		}
		cells = append(cells, fmt.Sprintf("%d of %d", seen, len(all)))
	}
	t.Logf("| %s | %d | %.3f | %v | %d | %s |", name, len(p), ks, tenths, small, strings.Join(cells, " | "))
	if name == "lawful" && ks < 0.001 {
		t.Errorf("%s: p-values of %d honest proofs are not uniform: %v, p = %.2g", name, len(p), tenths, ks)
	}
	// The binomial bound on false alarms, at the probability of 0.001.
	most := distuv.Binomial{N: float64(len(p)), P: 0.05}
	if most.Survival(float64(small)-1) < 0.001 {
		t.Errorf("%s: %d of %d honest proofs contradict the map", name, small, len(p))
	}
}
