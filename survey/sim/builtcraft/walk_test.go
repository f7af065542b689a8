package builtcraft

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// still returns a craft in an even room without drift, so that what the hand does shows.
func still(b *Built) *Built {
	out := *b
	out.room = room{even: b.room.even}
	out.still, out.bench = nil, nil
	return &out
}

// mean is the mean of the samples with the label, craft frame.
func mean(r *logbook.Run, k logbook.Capture, on bool) r3.Vec {
	var sum r3.Vec
	n := 0.0
	for _, s := range k.Samples {
		if s.LoadOn == on {
			sum, n = r3.Add(sum, s.B), n+1
		}
	}
	return r.Header.Axes.Apply(r3.Scale(1/n, sum))
}

func TestSurveysAreWhole(t *testing.T) {
	for seed := range uint64(20) {
		b := New(1+seed, Kinds()[seed%4])
		runs := b.Surveys()
		if len(runs) != len(b.Craft.States()) {
			t.Fatalf("seed %d: %d runs", b.Seed, len(runs))
		}
		for i, state := range b.Craft.States() {
			r := runs[i]
			seen := map[string]bool{}
			last := -1.0
			for _, k := range r.Captures {
				seen[k.Station] = true
				want, ok := b.Craft.Station(k.Station)
				if !ok || want.At != k.At {
					t.Errorf("seed %d: station %s at %v", b.Seed, k.Station, k.At)
				}
				for _, s := range k.Samples {
					if s.TS <= last || math.Abs(s.B.X)+math.Abs(s.B.Y)+math.Abs(s.B.Z) > 3*rangeUT {
						t.Fatalf("seed %d: sample %v after %v", b.Seed, s, last)
					}
					last = s.TS
				}
			}
			want := len(b.Craft.Stations()) + 1
			if state == survey.StateBackground {
				want = background + 1
			}
			if r.Header.State != state || r.Header.Run != i+1 || len(seen) != want || r.Header.Pulsed != (i > 1) {
				t.Errorf("seed %d: run %d of %s at %d stations, want %d of %s", b.Seed, r.Header.Run, r.Header.State, len(seen), want, state)
			}
		}
	}
}

// The noise of a dwell is that of a sensor at 50 Hz: 0.25/(1-0.6)/sqrt(50 T).
func TestNoiseOfADwell(t *testing.T) {
	sum, n := 0.0, 0.0
	for seed := range uint64(40) {
		b := still(New(1+seed, Ordinary))
		r := b.Walk(Plan{States: []string{survey.StateUnpowered}})[0]
		for _, k := range r.Captures {
			half := len(k.Samples) / 2
			a, z := k, k
			a.Samples, z.Samples = k.Samples[:half], k.Samples[half:2*half]
			sum += r3.Norm2(r3.Sub(mean(r, a, false), mean(r, z, false))) / 6 // of one half, a component
			n++
		}
	}
	half := math.Floor(dwellS*rateHz/2) / rateHz
	want := innovationUT / (1 - lag1) / math.Sqrt(readingsHz*half)
	if got := math.Sqrt(sum / n); math.Abs(got/want-1) > 0.06 {
		t.Errorf("%.4f uT, want %.4f", got, want)
	}
}

// A hand of 1.5 degrees scatters the vector, 2 mm and one long slip in twenty the place,
// 5 per cent the amperes.
func TestHandAndMeter(t *testing.T) {
	across, settings, long, places := 0.0, 0.0, 0.0, 0.0
	w := New(9, Ordinary).walker(Plan{})
	for range 4000 {
		slip, pose := w.setDown(visit{})
		v := pose.Rotate(r3.Vec{X: 1})
		across += (v.Y*v.Y + v.Z*v.Z) / 2
		settings++
		places++
		if r3.Norm(slip) > 7.5 { // of short slips one in a thousand, of long ones nine in ten
			long++
		}
	}
	if got := math.Sqrt(across/settings) * 180 / math.Pi; math.Abs(got/poseDeg-1) > 0.05 {
		t.Errorf("pose %.2f degrees", got)
	}
	if got := long / places; math.Abs(got-0.045) > 0.012 {
		t.Errorf("%.3f long slips", got)
	}
	var factors []float64
	for seed := range uint64(150) {
		b := still(New(1+seed, Ordinary))
		b.shifts["motor 1"] = shift{full: 1, magnets: []dipole{{r3.Vec{Z: 1e4}, r3.Vec{Z: 1e4}}}} // even over the craft
		r := b.Walk(Plan{States: []string{"motor 1"}, Stations: b.Craft.Stations()[:1]})[0]
		k := r.Captures[1]
		got := r3.Norm(r3.Sub(mean(r, k, true), mean(r, k, false)))
		factors = append(factors, got/r3.Norm(b.shifts["motor 1"].field(k.At))/b.BenchA["motor 1"])
	}
	sum := 0.0
	for _, f := range factors {
		sum += (f - 1) * (f - 1)
	}
	if got := math.Sqrt(sum / float64(len(factors))); math.Abs(got-amperePart) > 0.013 {
		t.Errorf("amperes off by %.3f, want %.3f", got, amperePart)
	}
}

// A hand without error would read the true field: on the average of many proofs the load
// of the spot.
func TestProofIsTheTruth(t *testing.T) {
	b := New(12, Ordinary)
	foot := r2.Vec{X: 30, Y: 10}
	at := b.Sensor(foot, 0)
	runs := b.Proof(9, foot, 0, make([]float64, 200)...)
	for i, l := range b.Craft.Loads {
		var sum r3.Vec
		for _, k := range runs[i].Captures {
			sum = r3.Add(sum, r3.Scale(1./200, r3.Sub(mean(runs[i], k, true), mean(runs[i], k, false))))
		}
		want := b.Load(l.Name, at)
		if l.MaxCurrentA > 0 {
			want = r3.Scale(b.BenchA[l.Name]/l.MaxCurrentA, want)
		}
		if r3.Norm(r3.Sub(sum, want)) > 0.02+0.2*r3.Norm(want) || !runs[i].Header.Proof || runs[i].Header.Run != 9+i {
			t.Errorf("%s: %v, want about %v", l.Name, sum, want)
		}
	}
	turned := b.Proof(9, foot, 0, 90)[0]
	straight := b.Proof(9, foot, 0, 0)[0]
	a, z := turned.Captures[0].BUT, yawed(straight.Captures[0].BUT, -90)
	if math.Hypot(a.X-z.X, a.Y-z.Y) > 5 {
		t.Errorf("the module turned by 90 degrees reads %v, want about %v", a, z)
	}
}

func TestResurveyShowsTheChange(t *testing.T) {
	b := New(13, Ordinary)
	s := b.Craft.Stations()[20]
	p := b.Craft.Module.SensorAt(s.At, 0)
	c := Change{At: r3.Add(s.At, r3.Vec{Z: 70}), MomentAm2: r3.Vec{X: 0.05}, TurnDeg: 8}
	added := r3.Sub(b.Changed(c).Steady(p), b.Steady(p))
	within(t, "added", added, fieldOf([]dipole{{c.At, c.MomentAm2}}, p), 0.02)
	runs := b.Resurvey(5, c)
	if h := runs[0].Header; h.Run != 5 || h.Session == b.Surveys()[0].Header.Session || *h.NoseDeg != b.NoseDeg {
		t.Errorf("header %+v", h)
	}
	if h := b.Resurvey(5, Change{TurnDeg: 8, SaidDeg: 8})[0].Header; *h.NoseDeg != math.Mod(b.NoseDeg+8, 360) {
		t.Errorf("nose %v", *h.NoseDeg)
	}
	base := runs[1].Captures[0].BUT
	want := r3.Add(b.room.field(b.Craft.Module.SensorAt(b.Craft.Base.At, 0), b.NoseDeg+8), b.Changed(c).Steady(b.Craft.Module.SensorAt(b.Craft.Base.At, 0)))
	if r3.Norm(r3.Sub(base, want)) > 6 {
		t.Errorf("base reads %v, want about %v", base, want)
	}
}

func TestFaultsSpoilWhatTheySay(t *testing.T) {
	b := New(14, Ordinary)
	runs := b.Surveys()
	first := func(some []*logbook.Run, run, capture int) r3.Vec { return some[run].Captures[capture].Samples[0].B }
	check := func(what string, some []*logbook.Run, capture int, change func(r3.Vec) r3.Vec) {
		t.Helper()
		within(t, what, first(some, 1, capture), change(first(runs, 1, capture)), 1e-9)
	}
	same := func(v r3.Vec) r3.Vec { return v }
	scaled := Scaled(runs, 2, 20, 1.22)
	check("scaled, before", scaled, 18, same)
	check("scaled", scaled, 19, func(v r3.Vec) r3.Vec { return r3.Scale(1.22, v) })
	within(t, "another run", first(scaled, 2, 30), first(runs, 2, 30), 0)
	axes := b.Craft.Module.Axes
	turned := Turned(runs, 2, 20, 10)
	check("turned", turned, 25, func(v r3.Vec) r3.Vec { return axes.Transpose().Apply(yawed(axes.Apply(v), -10)) })
	check("turned, before", turned, 5, same)
	check("mirrored", Mirrored(runs, 2), 3, func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: v.Y, Z: -v.Z} })
	check("swapped", Swapped(runs, 0, 1), 3, func(v r3.Vec) r3.Vec { return r3.Vec{X: v.Y, Y: v.X, Z: v.Z} })
	check("clipped", Clipped(runs, 21), 3, func(v r3.Vec) r3.Vec { return clipped(v, 21) })
	if got := Unmeasured(runs, "motor 1"); len(got) != len(runs)-1 || slices.ContainsFunc(got, func(r *logbook.Run) bool { return r.Header.State == "motor 1" }) {
		t.Error("motor 1 is still there")
	}
	at := r3.Add(runs[1].Captures[10].At, r3.Vec{Z: -80})
	foreign := b.Foreign(runs, 2, 10, 20, at, r3.Vec{Z: 0.05})
	check("foreign, before", foreign, 8, same)
	check("foreign, after", foreign, 20, same)
	if d := r3.Norm(r3.Sub(first(foreign, 1, 10), first(runs, 1, 10))); d < 10 {
		t.Errorf("the foreign magnet shows by %v uT only", d)
	}
}

// What a test sets besides: a warm motor is weaker in use, not on the bench; what stays
// of a pulse shows from its end on.
func TestWarmthAndRemanence(t *testing.T) {
	b := New(15, Ordinary)
	p := b.Sensor(r2.Vec{X: 10}, 0)
	warm, kept := *b, *b
	warm.WarmPart, kept.RemanentPart = 0.08, 0.5
	lost := r3.Sub(b.Load("motor 1", p), warm.Load("motor 1", p))
	within(t, "lost by warmth", lost, r3.Scale(0.08, fieldOf(b.shifts["motor 1"].permanent, p)), 1e-9)
	plan := Plan{States: []string{"motor 1"}}
	cold, hot, after := b.Walk(plan)[0], warm.Walk(plan)[0], kept.Walk(plan)[0]
	for i, k := range after.Captures {
		first, last := k.Samples[0].B, k.Samples[len(k.Samples)-1].B
		if hot.Captures[i].Samples[30].B != cold.Captures[i].Samples[30].B {
			t.Fatal("warmth shows on the bench")
		}
		within(t, "off at first", first, cold.Captures[i].Samples[0].B, 0)
		within(t, "on", k.Samples[30].B, cold.Captures[i].Samples[30].B, 0)
		on := cold.Captures[i]
		step := r3.Sub(mean(cold, on, true), mean(cold, on, false))
		got := cold.Header.Axes.Apply(r3.Sub(last, on.Samples[len(on.Samples)-1].B))
		if d := r3.Norm(r3.Sub(got, r3.Scale(0.5, step))); d > 0.3 {
			t.Errorf("capture %d keeps %v of %v", k.Number, got, step)
		}
	}
}
