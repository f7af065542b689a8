package dwell

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/simtest"
)

// hand simulates pulsed captures at one station.
type hand struct {
	rng     *rand.Rand
	noise   *ar1
	rateHz  float64
	sd      float64 // noise of one sample
	lag     float64
	jitter  float64
	scatter float64 // of the field on, from pulse to pulse, per axis
	drift   float64 // uT/s
	wander  float64 // random walk, uT per root second
	spikes  float64 // fraction of samples
	beat    float64 // amplitude of a fast wave while on
	warm    float64 // uT/s while on
	rampS   float64 // the load takes this long to reach its current
	pulses  int
}

func newHand(seed uint64) *hand {
	return &hand{
		rng: rand.New(rand.NewPCG(seed, 11)), noise: newAR1(seed, 0.6),
		rateHz: 25, sd: 0.2, lag: 0.35, jitter: 0.08, pulses: 6,
	}
}

// capture gives a dwell with the load's field d: three seconds off, three on,
// and so on, ending with an off interval.
func (h *hand) capture(d r3.Vec) PulsedSeries {
	h.noise.restart()
	var c PulsedSeries
	var real []Edge
	for i := range 2 * h.pulses {
		at := 3 * float64(i+1)
		c.Prompts = append(c.Prompts, Edge{at, i%2 == 0})
		real = append(real, Edge{at + h.lag + h.jitter*h.rng.NormFloat64(), i%2 == 0})
	}
	walk := r3.Vec{}
	field, next, on, since := d, 0, false, 0.0
	for i := range int((6*float64(h.pulses) + 3) * h.rateHz) {
		ts := float64(i) / h.rateHz
		for next < len(real) && ts >= real[next].TS {
			on, since = real[next].On, ts
			field = r3.Add(d, r3.Scale(h.scatter, h.gauss()))
			next++
		}
		walk = r3.Add(walk, r3.Scale(h.wander/math.Sqrt(h.rateHz), h.gauss()))
		b := r3.Add(r3.Add(somewhere, walk), r3.Scale(h.sd, h.noise.next()))
		b.X += h.drift * ts
		label := Off
		if on {
			label = On
			b = r3.Add(b, r3.Scale(min(1, (ts-since+1e-9)/max(h.rampS, 1e-9)), field))
			b.Y += h.beat*math.Sin(2*math.Pi*7.3*ts) + h.warm*(ts-since)
		}
		if h.rng.Float64() < h.spikes {
			b.Z += 50
		}
		c.TS, c.B, c.Label = append(c.TS, ts), append(c.B, b), append(c.Label, label)
	}
	return c
}

func (h *hand) gauss() r3.Vec {
	return r3.Vec{X: h.rng.NormFloat64(), Y: h.rng.NormFloat64(), Z: h.rng.NormFloat64()}
}

// prompted is the capture without its labels.
func (h *hand) prompted(d r3.Vec) PulsedSeries {
	c := h.capture(d)
	c.Label = nil
	return c
}

func mustTiming(t *testing.T, run []PulsedSeries) Lag {
	t.Helper()
	lag, err := Timing(t.Context(), run, DefaultPulseOptions())
	if err != nil {
		t.Fatal(err)
	}
	return lag
}

func mustPulse(t *testing.T, c PulsedSeries, lag Lag) PulseEstimate {
	t.Helper()
	est, err := Pulse(t.Context(), c, lag, DefaultPulseOptions())
	if err != nil {
		t.Fatal(err)
	}
	return est
}

var (
	loud  = r3.Vec{X: 3, Y: -1.5, Z: 2}
	faint = r3.Vec{X: 0.03, Y: 0.02, Z: -0.04}
)

// Ten stations, two of them with clear steps, set one lag for all; the 95 %
// intervals of quiet and loud stations hold, and nothing is inflated.
func TestPulseCoverage(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(h *hand)
	}{
		{"plain", func(*hand) {}},
		{"fast hand", func(h *hand) { h.lag = 0.2; h.jitter = 0.03 }},
		{"slow loose hand", func(h *hand) { h.lag = 0.5; h.jitter = 0.15 }},
		{"slow stream", func(h *hand) { h.rateHz = 10 }},
		{"scatter from pulse to pulse", func(h *hand) { h.scatter = 0.3 }},
		{"drift", func(h *hand) { h.drift = 0.1 }},
		{"wander", func(h *hand) { h.wander = 0.05 }},
		{"spikes", func(h *hand) { h.spikes = 0.05 }},
		{"four pulses", func(h *hand) { h.pulses = 4 }},
		{"long memory", func(h *hand) { h.noise = newAR1(9, 0.9) }},
		{"white", func(h *hand) { h.noise = newAR1(9, 0) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHand(41)
			c.set(h)
			count, total := 0, 0
			var bias r3.Vec
			ratio, quiet, expected := 0.0, 0.0, 0.0
			for range simtest.Trials(6, 20) {
				truth := []r3.Vec{loud, {}, faint, {}, {}, r3.Scale(-0.7, loud), {}, faint, {}, {}}
				var run []PulsedSeries
				for _, d := range truth {
					run = append(run, h.prompted(d))
				}
				lag := mustTiming(t, run)
				if lag.Source != FromPrompts || lag.Captures < 2 || math.Abs(lag.MeanS-h.lag) > 0.06+4*h.jitter/math.Sqrt(24) {
					t.Fatalf("lag %+v, want %g", lag, h.lag)
				}
				for i, d := range truth {
					est := mustPulse(t, run[i], lag)
					count += inside(est.Diff, d, diagonal(est.Cov), est.DF)
					total += 3
					if d == (r3.Vec{}) {
						quiet++
						bias = r3.Add(bias, est.Diff)
						expected += est.Cov.Trace()
						ratio += r3.Norm2(est.Diff) / est.Cov.Trace()
					}
				}
			}
			slack := 3 * math.Sqrt(0.95*0.05/float64(total)) // of so few trials
			between(t, "coverage", float64(count)/float64(total), 0.945-slack, 0.965+slack)
			// 1, less what the larger of two covariances is larger by; with few
			// degrees of freedom more, the mean of 1/chi^2 being over 1.
			between(t, "quiet stations: square over variance", ratio/quiet, 0.6, 1.3)
			between(t, "quiet stations: bias over its deviation", r3.Norm(bias)/math.Sqrt(expected), 0, 2)
		})
	}
}

// With no step anywhere the answer is still near zero, with an assumed lag.
func TestPulseQuietRun(t *testing.T) {
	h := newHand(42)
	var run []PulsedSeries
	for range 30 {
		run = append(run, h.prompted(r3.Vec{}))
	}
	lag := mustTiming(t, run)
	if lag.Source != FromAssumed || lag.MeanS != assumedLagS || lag.SDS != assumedLagSDS {
		t.Fatalf("%+v", lag)
	}
	count := 0
	for _, c := range run {
		est := mustPulse(t, c, lag)
		count += inside(est.Diff, r3.Vec{}, diagonal(est.Cov), est.DF)
		if !remark.Has(est.Warnings, "dwell.assumed") {
			t.Error("the assumed lag is not mentioned")
		}
	}
	between(t, "coverage", float64(count)/90, 0.88, 1)
}

// A load that takes 0.4 s to come up, and a hand that is late by a spread of
// 0.15 s, do not water a middling step down: what follows an edge is dropped.
func TestPulseDropsEdges(t *testing.T) {
	h := newHand(54)
	h.rampS, h.jitter = 0.4, 0.15
	d := r3.Vec{X: 0.6, Y: -0.5, Z: 0.4}
	lag := Lag{MeanS: h.lag, SDS: h.jitter, Source: FromPrompts}
	part, runs := 0.0, simtest.Trials(40, 100)
	for range runs {
		part += r3.Dot(mustPulse(t, h.prompted(d), lag).Diff, d) / r3.Norm2(d) / float64(runs)
	}
	between(t, "part of the step that is seen", part, 0.98, 1.02)
}

// Labels need no lag, and a label per sample or a current give the same.
func TestPulseLabels(t *testing.T) {
	h := newHand(43)
	c := h.capture(loud)
	c.Prompts = nil
	for _, l := range c.Label {
		a := 0.3 + 0.02*h.rng.NormFloat64()
		if l == On {
			a += 12
		}
		c.CurrentA = append(c.CurrentA, a)
	}
	lag := mustTiming(t, []PulsedSeries{c})
	if lag.Source != FromLabels || lag.SDS != 0 {
		t.Fatalf("%+v", lag)
	}
	byLabel := mustPulse(t, c, lag)
	c.Label = nil
	byCurrent := mustPulse(t, c, lag)
	if byLabel.Diff != byCurrent.Diff || byLabel.Pulses != 6 || len(byLabel.PerPulse) != 11 {
		t.Errorf("%+v\n%+v", byLabel, byCurrent)
	}
	between(t, "on current", byCurrent.OnCurrentA, 12.29, 12.31)
	between(t, "off current", byCurrent.OffCurrentA, 0.29, 0.31)
	between(t, "current from pulse to pulse", byCurrent.OnCurrentSDA, 1e-6, 0.01)
	between(t, "error", r3.Norm(r3.Sub(byCurrent.Diff, loud)), 0, 0.1)
}

// An import without labels and prompts follows the stated rhythm; one with no
// stated rhythm follows what the clear stations show; with none of it there
// is no answer.
func TestPulseRhythm(t *testing.T) {
	h := newHand(44)
	run := []PulsedSeries{h.prompted(loud), h.prompted(r3.Vec{}), h.prompted(r3.Scale(2, loud))}
	for i := range run {
		run[i].Prompts = nil
	}
	lag := mustTiming(t, run)
	if lag.Source != FromRhythm || math.Abs(lag.MeanS-h.lag) > 0.08 {
		t.Errorf("%+v", lag)
	}
	o := DefaultPulseOptions()
	o.OnS, o.OffS = 0, 0
	seen, err := Timing(t.Context(), run, o)
	if err != nil || seen.Source != FromSeen || math.Abs(seen.OnS-3) > 0.1 || math.Abs(seen.StartS-3.35) > 0.15 {
		t.Errorf("%+v %v", seen, err)
	}
	for i, d := range []r3.Vec{loud, {}, r3.Scale(2, loud)} {
		est, err := Pulse(t.Context(), run[i], seen, o)
		if err != nil || r3.Norm(r3.Sub(est.Diff, d)) > 0.15 {
			t.Errorf("station %d: %v %v, want %v", i, est.Diff, err, d)
		}
	}
	if _, err := Timing(t.Context(), run[1:2], o); !errors.Is(err, ErrNoTiming) {
		t.Errorf("a quiet station alone with no rhythm: %v", err)
	}
	if _, err := Pulse(t.Context(), run[0], Lag{}, o); !errors.Is(err, ErrNoTiming) {
		t.Errorf("no timing at all: %v", err)
	}
}

func TestPulseRefuses(t *testing.T) {
	h := newHand(45)
	h.pulses = 3
	c := h.capture(loud)
	unlabelled := PulsedSeries{Series: c.Series}
	few, ok := errors.AsType[*FewPulsesError](second(Pulse(t.Context(), unlabelled, Lag{}, DefaultPulseOptions())))
	if !ok || few.Got != 3 || few.Need != 4 {
		t.Errorf("three pulses: %v", few)
	}
	for name, c := range map[string]PulsedSeries{
		"labels":  {Series: c.Series, Label: c.Label[1:]},
		"current": {Series: c.Series, CurrentA: []float64{1}},
	} {
		if err := second(Pulse(t.Context(), c, Lag{}, DefaultPulseOptions())); !errors.Is(err, ErrLengths) {
			t.Errorf("%s: %v", name, err)
		}
	}
	c.Prompts = []Edge{{math.NaN(), true}}
	if err := second(Pulse(t.Context(), c, Lag{}, DefaultPulseOptions())); !errors.Is(err, ErrBackwards) {
		t.Errorf("NaN prompt: %v", err)
	}
	if _, err := Timing(t.Context(), nil, DefaultPulseOptions()); !errors.Is(err, ErrNoSamples) {
		t.Error(err)
	}
	if _, err := Timing(t.Context(), []PulsedSeries{{}}, DefaultPulseOptions()); !errors.Is(err, ErrNoSamples) {
		t.Error(err)
	}
}

func second[T any](_ T, err error) error { return err }

// A load column that stays at zero labels nothing: the prompts count.
func TestPulseUselessLabels(t *testing.T) {
	h := newHand(46)
	c := h.prompted(loud)
	c.Label = make([]Level, len(c.B))
	for i := range c.Label {
		c.Label[i] = Off
	}
	if lag := mustTiming(t, []PulsedSeries{c}); lag.Source != FromPrompts {
		t.Errorf("%+v", lag)
	}
	for _, a := range [][]float64{nil, {}, {5, 5, 5, 5}, {0, 0}, {5, 5.1, 5, 5.1}} {
		for _, l := range LabelsFromCurrent(a) {
			if l != Unknown {
				t.Errorf("%v labels %v", a, l)
			}
		}
	}
}

// A load whose polarity is reversed is on while its current is far below zero:
// taken the other way round, the difference would have the wrong sign.
func TestLabelsOfAReversedCurrent(t *testing.T) {
	want := []Level{Off, Off, On, On, Off, On}
	for _, sign := range []float64{1, -1} {
		got := LabelsFromCurrent([]float64{0, sign * -0.1, sign * 12, sign * 11.5, 0.1, sign * 12.2})
		if !slices.Equal(got, want) {
			t.Errorf("sign %+g: %v, want %v", sign, got, want)
		}
	}
}

// The idle noise of a meter that does not see the load must not outvote the
// prompts; a rippling current must still label.
func TestLabelsNeedTwoLevels(t *testing.T) {
	rng := rand.New(rand.NewPCG(53, 0))
	for range 200 {
		noise, ripple := make([]float64, 400), make([]float64, 400)
		for i := range noise {
			noise[i] = 0.03 * rng.NormFloat64()
			ripple[i] = 0.03 * rng.NormFloat64()
			if i/50%2 == 1 {
				ripple[i] += 10 + rng.NormFloat64()
			}
		}
		if l := LabelsFromCurrent(noise); slices.ContainsFunc(l, func(l Level) bool { return l != Unknown }) {
			t.Fatal("idle noise labels")
		}
		for i, l := range LabelsFromCurrent(ripple) {
			if want := Off + Level(i/50%2); l != want && math.Abs(ripple[i]-5) > 2 {
				t.Fatalf("sample %d of %.2f A labelled %v, want %v", i, ripple[i], l, want)
			}
		}
	}
}

// The last digit of a meter in another circuit flickers between two levels that
// stand apart; it must not outvote the prompts. A load of as little current
// labels.
func TestTheLastDigitOfAMeterLabelsNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(54, 0))
	for _, share := range []float64{0.1, 0.3, 0.5, 0.9} {
		for range 200 {
			flicker, load := make([]float64, 400), make([]float64, 400)
			for i := range flicker {
				if rng.Float64() < share {
					flicker[i] = 0.1
				}
				load[i] = 0.1 * float64(i/50%2)
			}
			if l := LabelsFromCurrent(flicker); slices.ContainsFunc(l, func(l Level) bool { return l != Unknown }) {
				t.Fatalf("the last digit, up for %.0f %% of the time, labels", 100*share)
			}
			for i, l := range LabelsFromCurrent(load) {
				if want := Off + Level(i/50%2); l != want {
					t.Fatalf("sample %d of a small load labelled %v, want %v", i, l, want)
				}
			}
		}
	}
	h := newHand(55)
	c := h.prompted(loud)
	c.CurrentA = make([]float64, len(c.B))
	for i := range c.CurrentA {
		c.CurrentA[i] = 0.1 * float64(rng.IntN(2))
	}
	if est := mustPulse(t, c, mustTiming(t, []PulsedSeries{c})); est.Pulses != 6 || r3.Norm(r3.Sub(est.Diff, loud)) > 0.5 {
		t.Errorf("%d pulses, %v of %v", est.Pulses, est.Diff, loud)
	}
}

func TestPulseWarnings(t *testing.T) {
	lag := Lag{Source: FromLabels}
	for _, c := range []struct {
		name string
		set  func(h *hand)
		want string // the code; empty: no warning at all
	}{
		{"plain", func(*hand) {}, ""},
		{"warming", func(h *hand) { h.warm = 0.4 }, "dwell.rise"},
		{"beating magnet", func(h *hand) { h.beat = 1 }, "dwell.beats"},
		{"rotor at any angle", func(h *hand) { h.scatter = 0.5 }, "dwell.scattered"},
	} {
		h := newHand(47)
		c.set(h)
		hits, runs := 0, 40
		for range runs {
			w := mustPulse(t, h.capture(loud), lag).Warnings
			if remark.Has(w, c.want) || c.want == "" && len(w) > 0 {
				hits++
			}
		}
		if c.want == "" && hits > 2 || c.want != "" && hits < runs-2 {
			t.Errorf("%s: %d of %d warned", c.name, hits, runs)
		}
	}
	est := mustPulse(t, newHand(47).capture(loud), lag)
	between(t, "rise without warming", r3.Norm(est.Rise), 0, 0.4)
	h := newHand(48)
	h.warm = 0.4
	est = mustPulse(t, h.capture(loud), lag)
	between(t, "rise of 0.4 uT/s over 2.5 s", est.Rise.Y, 0.7, 1.3)
}

// An unsteady hand tilts the probe by 1.5 degrees and misses the mark by
// 2 mm: two visits leave both in the difference of two walks, a pulsed
// capture only on the load's own field.
func TestPulseGainOverTwoWalks(t *testing.T) {
	h := newHand(49)
	gradient := 0.02 // of the steady field, uT/mm
	pose := func(b r3.Vec) r3.Vec {
		turn := r3.Scale(1.5*math.Pi/180, h.gauss())
		miss := r3.Scale(2*gradient, h.gauss())
		return r3.Add(r3.Add(b, r3.Cross(turn, b)), miss)
	}
	d := r3.Vec{X: 0.8, Y: -0.3, Z: 0.4}
	var walks, pulses float64
	runs := simtest.Trials(30, 300)
	for range runs {
		off := mustLocate(t, h.noise.still(120, 50, pose(somewhere), h.sd)).Mean
		on := mustLocate(t, h.noise.still(120, 50, pose(r3.Add(somewhere, d)), h.sd)).Mean
		walks += r3.Norm2(r3.Sub(r3.Sub(on, off), d))
		turn := r3.Scale(1.5*math.Pi/180, h.gauss())
		miss := r3.Scale(2*0.01, h.gauss()) // the load's own field has a gradient, too: 0.01 uT/mm
		seen := r3.Add(r3.Add(d, r3.Cross(turn, d)), miss)
		est := mustPulse(t, h.prompted(seen), Lag{MeanS: h.lag, SDS: h.jitter, Source: FromPrompts})
		pulses += r3.Norm2(r3.Sub(est.Diff, d))
	}
	t.Logf("error of the horizontal and vertical parts together: two walks %.2f uT, pulsed %.3f uT",
		math.Sqrt(walks/float64(runs)), math.Sqrt(pulses/float64(runs)))
	between(t, "ratio of errors", math.Sqrt(walks/pulses), 15, 100)
}

// Nothing of a bad or odd capture may panic or give a number that is none.
func TestPulseOdd(t *testing.T) {
	h := newHand(50)
	flat := h.capture(r3.Vec{})
	for i := range flat.B {
		flat.B[i] = somewhere
	}
	est := mustPulse(t, flat, Lag{Source: FromLabels})
	if r3.Norm(est.Diff) > 1e-12 || !(est.Cov[0][0] > 0) || !est.Cov.Finite() {
		t.Errorf("flat: %+v", est)
	}
	rng := rand.New(rand.NewPCG(51, 51))
	for i := range 300 {
		n := 1 + rng.IntN(60)
		c := PulsedSeries{}
		for j := range n {
			c.TS = append(c.TS, float64(j/(1+i%3)))
			c.B = append(c.B, r3.Vec{X: float64(rng.IntN(3)), Y: float64(i % 2), Z: rng.NormFloat64() * 1e6})
			c.Label = append(c.Label, Level(rng.IntN(5)-1))
		}
		if i%2 == 0 {
			c.Label = nil
		}
		if i%4 == 0 {
			c.Prompts = []Edge{{-1, true}, {2, true}, {2, false}, {2, true}, {50, false}}
		}
		if lag, err := Timing(t.Context(), []PulsedSeries{c}, DefaultPulseOptions()); err != nil || math.IsNaN(lag.MeanS) || math.IsNaN(lag.SDS) {
			t.Fatalf("%v %v", lag, err)
		}
		est, err := Pulse(t.Context(), c, Lag{MeanS: 0.3, SDS: 0.1}, DefaultPulseOptions())
		if err == nil && (!est.Cov.Finite() || math.IsNaN(est.DF) || math.IsNaN(r3.Norm(est.Diff)) || math.IsNaN(est.RiseP)) {
			t.Fatalf("%+v", est)
		}
		if _, err := Locate(t.Context(), c.Series, Options{}); err != nil {
			t.Fatal(err)
		}
		Changed(c.Series, Options{})
	}
}

func BenchmarkPulse(b *testing.B) {
	c := newHand(52).prompted(loud)
	lag := Lag{MeanS: 0.35, SDS: 0.08, Source: FromPrompts}
	b.ReportAllocs()
	b.ReportMetric(float64(len(c.B)), "samples")
	for b.Loop() {
		if _, err := Pulse(b.Context(), c, lag, DefaultPulseOptions()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTiming60(b *testing.B) {
	h := newHand(53)
	var run []PulsedSeries
	for i := range 60 {
		run = append(run, h.prompted(r3.Scale(float64(i%7)/3, loud)))
	}
	for b.Loop() {
		if _, err := Timing(b.Context(), run, DefaultPulseOptions()); err != nil {
			b.Fatal(err)
		}
	}
}

func ExamplePulse() {
	// Labelled samples: the field rises by 2 uT along x while the load is on.
	var c PulsedSeries
	for i := range 270 {
		on := i/30%2 == 1
		c.TS = append(c.TS, float64(i)/10)
		c.B = append(c.B, r3.Vec{X: 18 + 0.1*float64(i%2), Y: -4, Z: 44})
		c.Label = append(c.Label, Off)
		if on {
			c.B[i].X += 2
			c.Label[i] = On
		}
	}
	est, err := Pulse(context.Background(), c, Lag{}, DefaultPulseOptions())
	fmt.Printf("%.2f uT from %d pulses, %v\n", est.Diff.X, est.Pulses, err)
	// Output: 2.00 uT from 4 pulses, <nil>
}

// The degrees of freedom of the scatter against the matrix of the quadratic
// form written out. Two intervals in a row at one level leave a gap in the rows.
func TestScatterDegreesOfFreedom(t *testing.T) {
	rng := rand.New(rand.NewPCG(56, 0))
	var spans []span
	var ts []float64
	for i := range 14 {
		spans = append(spans, span{on: i%2 == 1 != (i > 8)})
		ts = append(ts, 3*float64(i)+rng.Float64())
	}
	rows := comparisons(spans, ts)
	n, m := len(spans), len(rows)
	weights := meanWeights(rows, n)
	var per []r3.Vec
	q := make([][]float64, n)
	for i := range q {
		q[i] = make([]float64, n)
	}
	for _, row := range rows {
		per = append(per, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		whole := make([]float64, n)
		copy(whole[row.first:], row.w[:])
		for i := range n {
			for j := range n {
				q[i][j] += (whole[i] - weights[i]) * (whole[j] - weights[j])
			}
		}
	}
	trace, square := 0.0, 0.0
	for i := range n {
		trace += q[i][i]
		for j := range n {
			square += q[i][j] * q[j][i]
		}
	}
	cov, df := scatter(rows, weights, per)
	relative(t, "degrees of freedom", df, trace*trace/square, 1e-12)
	mean, sd := 0.0, 0.0
	for _, d := range per {
		mean += d.X / float64(m)
	}
	for _, d := range per {
		sd += (d.X - mean) * (d.X - mean)
	}
	relative(t, "variance", cov[0][0], sd*squares(weights)/trace, 1e-12)
}

// A rhythm quicker than the span of lags sought must not be read a phase
// late, which turns the step round.
func TestTimingOfAQuickRhythm(t *testing.T) {
	for seed := range uint64(20) {
		h := newHand(seed)
		h.pulses = 4
		c := h.prompted(r3.Vec{X: 1, Y: -4, Z: 2})
		c.Prompts = append([]Edge{{TS: 0}}, c.Prompts...) // the prompts begin with off
		const quicker = 0.4                               // 1.2 s on, 1.2 s off
		for i := range c.TS {
			c.TS[i] *= quicker
		}
		for i := range c.Prompts {
			c.Prompts[i].TS *= quicker
		}
		o := DefaultPulseOptions()
		o.OnS, o.OffS, o.DropS = 1.2, 1.2, 0.3
		lag, err := Timing(t.Context(), []PulsedSeries{c}, o)
		if err != nil {
			t.Fatal(err)
		}
		if lag.MeanS < 0 || lag.MeanS > 0.4 {
			t.Errorf("seed %d: lag %.2f s, the hand's is %.2f", seed, lag.MeanS, quicker*h.lag)
		}
		est, err := Pulse(t.Context(), c, lag, o)
		if err != nil || est.Diff.Y > -3 {
			t.Errorf("seed %d: step %v, %v", seed, est.Diff, err)
		}
	}
}
