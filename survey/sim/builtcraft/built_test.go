package builtcraft

import (
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/craftfile"
)

func TestSameSeedSameCraft(t *testing.T) {
	for _, kind := range Kinds() {
		a, b := New(7, kind), New(7, kind)
		if !reflect.DeepEqual(a, b) || !reflect.DeepEqual(a.Surveys(), b.Surveys()) || !reflect.DeepEqual(a.Surveys(), a.Surveys()) {
			t.Errorf("%s: the same seed gave another craft", kind)
		}
		if reflect.DeepEqual(a.still, New(8, kind).still) {
			t.Errorf("%s: another seed gave the same craft", kind)
		}
	}
}

// The draws are frozen: whoever changes them makes another generator.
func TestFrozen(t *testing.T) {
	for _, c := range frozen {
		b := New(c.seed, c.kind)
		p := b.Sensor(r2.Vec{X: 20, Y: -30}, 0)
		within(t, "steady", b.Steady(p), c.steady, 1e-6)
		within(t, "load", b.Load("motor 1", p), c.load, 1e-6)
		runs := b.Surveys()
		k := runs[len(runs)-1].Captures[5]
		within(t, "last run", k.Samples[len(k.Samples)-1].B, c.sample, 1e-6)
	}
}

var frozen = []struct {
	seed                 uint64
	kind                 Kind
	steady, load, sample r3.Vec
}{
	{1, Ordinary, r3.Vec{X: -20.8767071, Y: -48.4850088, Z: 59.3892404}, r3.Vec{X: 0.159488881, Y: 0.080359085, Z: -3.44666172}, r3.Vec{X: 10.8596425, Y: -20.5756065, Z: -33.4115667}},
	{2, Quiet, r3.Vec{X: 0.368680303, Y: -0.142839439, Z: 0.628821456}, r3.Vec{X: 8.37295864e-05, Y: 0.00319571835, Z: -0.00531461173}, r3.Vec{X: 5.70295567, Y: -19.6568156, Z: -49.2480894}},
	{3, Equatorial, r3.Vec{X: 6.28524684, Y: 3.52452268, Z: -1.85085516}, r3.Vec{X: -2.69153235, Y: -1.58765701, Z: -1.33298361}, r3.Vec{X: -25.425364, Y: 5.70213949, Z: 6.38265185}},
	{4, Indoor, r3.Vec{X: 56.4875494, Y: -38.126007, Z: -3.72210569}, r3.Vec{X: 0.206710831, Y: 0.255860565, Z: -0.133425729}, r3.Vec{X: 11.2505445, Y: -16.7565264, Z: -52.756983}},
	{5, Ordinary, r3.Vec{X: 3.27252004, Y: -3.82551883, Z: -7.83308755}, r3.Vec{X: -0.232247815, Y: 1.34039219, Z: -0.594079763}, r3.Vec{X: 21.3805012, Y: -9.31304304, Z: -53.4031774}},
}

// The written file says what Craft says, and nothing in it is wrong.
func TestCraftFileIsTheCraft(t *testing.T) {
	for seed := range uint64(200) {
		b := New(1+seed, Kinds()[seed%4])
		got, err := craftfile.Parse(b.TOML(), "built.toml")
		if err != nil {
			t.Fatalf("seed %d: %v\n%s", 1+seed, err, b.TOML())
		}
		want := *b.Craft
		want.Remarks, got.Remarks = nil, nil
		if !reflect.DeepEqual(*got, want) {
			t.Fatalf("seed %d: the file says\n%+v\nbut the craft is\n%+v", 1+seed, *got, want)
		}
	}
}

// Every option occurs as often as it should: shares of 400 craft within four standard
// errors.
func TestOptionsOccurAsOftenAsStated(t *testing.T) {
	const craft = 400
	count := map[string]int{}
	loads, unnamed, slow, twisted := 0, 0, 0, 0
	for seed := range uint64(craft) {
		b := New(1+seed, Ordinary)
		n := 0
		for _, l := range b.Craft.Loads {
			if l.Kind == survey.LoadMoving {
				count["mover"]++
				continue
			}
			n++
			if part := b.BenchA[l.Name] / l.MaxCurrentA; part < 0.99 {
				slow++
				if math.Abs(part-benchPart) > 0.001 {
					t.Errorf("seed %d: %s at %.3f of its maximum", b.Seed, l.Name, part)
				}
			}
		}
		loads += n
		if n == 2 {
			count["second"]++
			if b.Craft.Together("motor 1", "motor 2") {
				count["together"]++
			}
		}
		if b.Craft.Loads[0].Reverses {
			count["reverses"]++
		}
		if b.Craft.Cable != nil {
			count["cable"]++
		}
		named := 0
		for _, p := range b.Craft.Parts {
			switch {
			case p.Magnetic:
				named++
			case len(p.PathMM) > 0 && p.GapMM == 0:
				twisted++
			}
		}
		if named == 0 {
			unnamed++
		}
		if s := len(b.Craft.Stations()); s < 40 || s > 60 {
			t.Errorf("seed %d: %d stations", b.Seed, s)
		}
	}
	share := func(what string, got, of int, want float64) {
		t.Helper()
		p := float64(got) / float64(of)
		if math.Abs(p-want) > 4*math.Sqrt(want*(1-want)/float64(of)) {
			t.Errorf("%s: %.3f, want %.3f", what, p, want)
		}
	}
	share("mover", count["mover"], craft, moverPart)
	share("second", count["second"], craft, secondPart)
	share("together", count["together"], count["second"], togetherPart)
	share("reverses", count["reverses"], craft, reversePart)
	share("cable", count["cable"], craft, cablePart)
	share("slow", slow, craft, slowPart)
	share("twisted", twisted, loads, twistedPart)
	if unnamed == 0 || unnamed > craft/2 {
		t.Errorf("%d craft without a named magnet", unnamed)
	}
}

// Every kind of place is what it says.
func TestPlacesAreOfTheirKind(t *testing.T) {
	for seed := range uint64(60) {
		for _, kind := range Kinds() {
			b := New(1+seed, kind)
			e := b.Craft.Site.Field(day)
			h, dip := e.H/1000, math.Atan2(e.Z, e.H)*180/math.Pi
			if math.Abs(b.HUT-h) > 5*referenceHUT {
				t.Errorf("seed %d, %s: H %v, reference %v", b.Seed, kind, b.HUT, h)
			}
			ratio := r3.Norm(b.Ambient(r3.Vec{})) / math.Hypot(e.H, e.Z) * 1000
			switch kind {
			case Equatorial:
				if h < 27 || h > 33 || math.Abs(dip) > 15 {
					t.Errorf("seed %d: H %v, dip %v", b.Seed, h, dip)
				}
			case Indoor:
				if off := math.Abs(ratio - 1); off > 0.2 {
					t.Errorf("seed %d: |B| is %v of the reference", b.Seed, ratio)
				}
			case Quiet:
				if off := math.Abs(ratio - 1); off > 0.03 {
					t.Errorf("seed %d: |B| is %v of the reference", b.Seed, ratio)
				}
			}
		}
	}
}

// Steel turns with the nose: what changes with the direction of the bench comes from it
// alone, and is smaller than the rest.
func TestSteelTurnsWithTheNose(t *testing.T) {
	b := New(11, Ordinary)
	p := b.Sensor(r2.Vec{}, 0)
	within(t, "as on the bench", b.SteadyTurned(p, b.NoseDeg), b.Steady(p), 1e-12)
	if d := r3.Norm(r3.Sub(b.SteadyTurned(p, b.NoseDeg+180), b.Steady(p))); d == 0 || d > 20 {
		t.Errorf("turning the bench changes the steady part by %v uT", d)
	}
}

// Every craft has room to mount a module on: 40 places of a grid of 8 mm at the least.
func TestThereIsRoomToMount(t *testing.T) {
	for seed := range uint64(200) {
		b := New(1+seed, Kinds()[seed%4])
		may, box, n := mountable(b.Craft), b.Craft.Body.OutlineMM.Bounds(), 0
		for x := box.Min.X; x < box.Max.X; x += 8 {
			for y := box.Min.Y; y < box.Max.Y; y += 8 {
				if may(r2.Vec{X: x, Y: y}, 0) {
					n++
				}
			}
		}
		if n < 40 {
			t.Errorf("seed %d: %d places", b.Seed, n)
		}
	}
}

// The best spots and the worst stations lie on both sides of the budget.
func TestCraftAreNeitherEasyNorHopeless(t *testing.T) {
	good, bad := 0, 0
	for seed := range uint64(10) {
		b := New(1+seed, Ordinary)
		s, ok := b.Best(mountable(b.Craft))
		if !ok {
			t.Fatalf("seed %d: nowhere to mount", b.Seed)
		}
		t.Logf("seed %d: best %.2f degrees at %v, H %.1f", b.Seed, s.T, s.Foot, b.HUT)
		if s.T < 1 {
			good++
		}
		worst := 0.0
		for _, st := range b.Craft.Stations() {
			worst = max(worst, b.T(b.Craft.Module.SensorAt(st.At, 0)))
		}
		if worst > 5 {
			bad++
		}
	}
	if good < 2 || good > 8 || bad < 6 {
		t.Errorf("%d of 10 craft have a spot under 1 degree, %d a station over 5", good, bad)
	}
}

// mountable is where the foot fits and the cable reaches.
func mountable(c *survey.Craft) func(r2.Vec, float64) bool {
	return func(foot r2.Vec, _ float64) bool {
		if c.Cable != nil && r2.Norm(r2.Sub(foot, c.Cable.FromMM)) > c.Module.CableMM-c.Cable.SlackMM {
			return false
		}
		return len(c.Obstacles(foot)) == 0
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		New(5, Ordinary)
	}
}

func BenchmarkSurveys(b *testing.B) {
	c := New(5, Ordinary)
	for b.Loop() {
		c.Surveys()
	}
}

func BenchmarkBest(b *testing.B) {
	c := New(5, Ordinary)
	for b.Loop() {
		c.Best(mountable(c.Craft))
	}
}

// Nothing of a craft rises so high that a sensor on the deck would touch it.
func TestNothingTouchesTheSensor(t *testing.T) {
	for seed := range uint64(300) {
		b := New(1+seed, Ordinary)
		high := b.Craft.Body.SurfaceZMM + 3
		for _, d := range append(b.still, b.bench...) {
			if d.at.Z < high {
				t.Errorf("seed %d: a magnetised point at %v, the deck at %v", b.Seed, d.at, high-3)
				break
			}
		}
		for name, s := range b.shifts {
			for _, d := range s.magnets {
				if d.at.Z < high {
					t.Errorf("seed %d: %s at %v, the deck at %v", b.Seed, name, d.at, high-3)
					break
				}
			}
			for _, e := range s.conduct {
				if e.at.Z < high {
					t.Errorf("seed %d: the lead of %s at %v, the deck at %v", b.Seed, name, e.at, high-3)
					break
				}
			}
		}
	}
}
