package sim

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/link"
)

// collect is everything a bench prints in the given seconds.
func collect(b *Bench, seconds float64) []byte {
	var out []byte
	for b.Now() < seconds {
		out = append(out, b.Step()...)
	}
	return out
}

// Every shape goes through the decoder that reads real boards and comes out
// as the field, and nearly as many samples as were sent.
func TestShapesAreRead(t *testing.T) {
	for _, shape := range Shapes() {
		t.Run(string(shape), func(t *testing.T) {
			w := plainWorld()
			w.Craft.Base.At = r3.Vec{X: 5000}
			b := NewBench(w, Probe{RateHz: 50, NoiseUT: 0.05}, Hand{}, BenchOptions{Shape: shape, Seed: 2})
			s := NewStream(b, link.NewDecoder(link.DecodeOptions{}), 20)
			n, items := 0, drain(t, s)
			for _, it := range items {
				if it.Kind != link.Reading {
					continue
				}
				n++
				if d := r3.Norm(r3.Sub(it.Sample.B, r3.Vec{X: 18, Z: 45})); d > 0.5 {
					t.Fatalf("read %v, want about {18 0 45}", it.Sample.B)
				}
			}
			if n < 900 {
				t.Errorf("%d samples of 1000 were read", n)
			}
		})
	}
}

func drain(t *testing.T, s *Stream) []link.Item {
	t.Helper()
	var out []link.Item
	for {
		it, err := s.Next(t.Context())
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, it)
	}
}

// Labels sent with the samples survive the decoder.
func TestCurrentAndLoadOnAreRead(t *testing.T) {
	for _, shape := range []Shape{ShapeCurrent, ShapeLoadOn} {
		b := NewBench(plainWorld(), Probe{RateHz: 50, NoiseUT: 0.05}, Hand{}, BenchOptions{Shape: shape, Faults: Faults{Banner: []string{"compass 1.0 (invented)"}}})
		if err := b.Pulse("motor", 12, 3, 3); err != nil {
			t.Fatal(err)
		}
		on, off := 0, 0
		for _, it := range drain(t, NewStream(b, link.NewDecoder(link.DecodeOptions{}), 30)) {
			if it.Kind != link.Reading {
				continue
			}
			if it.Sample.LoadOn || it.Sample.CurrentA == 12 {
				on++
			} else {
				off++
			}
		}
		if math.Abs(float64(on-off)) > 100 || on < 600 {
			t.Errorf("%s: %d samples on, %d off, want half and half of 1500", shape, on, off)
		}
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	made := func(seed uint64) []byte {
		b := NewBench(plainWorld(), DefaultProbe(), DefaultHand(), BenchOptions{Seed: seed, Faults: Faults{NoiseRate: .1, NaNRate: .1, Ends: EndsMixed}})
		b.Move(r3.Vec{X: 50}, 2, false)
		return collect(b, 5)
	}
	if !bytes.Equal(made(1), made(1)) {
		t.Error("the same seed gave other bytes")
	}
	if bytes.Equal(made(1), made(2)) {
		t.Error("another seed gave the same bytes")
	}
}

func TestFaults(t *testing.T) {
	lines := func(f Faults, seconds float64) string {
		return string(collect(NewBench(plainWorld(), Probe{RateHz: 50}, Hand{}, BenchOptions{Faults: f}), seconds))
	}
	if s := lines(Faults{Banner: []string{"sketch 1.0 (invented)"}, HalfFirstLine: true}, 1); !strings.HasPrefix(s, ".71,40.03\r\nsketch 1.0 (invented)\r\n") {
		t.Errorf("starts with %.60q", s)
	}
	if s := lines(Faults{Ends: EndsLF}, 1); strings.Contains(s, "\r") || strings.Count(s, "\n") != 50 {
		t.Errorf("LF: %d lines, CR %v", strings.Count(s, "\n"), strings.Contains(s, "\r"))
	}
	if s := lines(Faults{Ends: EndsMixed}, 4); !strings.Contains(s, "\r\n\r\n") || !strings.Contains(strings.ReplaceAll(s, "\r\n", ""), "\n") {
		t.Error("the ends are not mixed")
	}
	if n := strings.Count(lines(Faults{NaNRate: .2}, 20), "nan,nan,nan"); n < 140 || n > 260 {
		t.Errorf("%d nan lines of 1000, want about 200", n)
	}
	if n := strings.Count(lines(Faults{Silences: []Span{{1, 2}}}, 4), "\n"); math.Abs(float64(n)-100) > 2 {
		t.Errorf("%d lines with two of four seconds silent, want 100", n)
	}
	banner := Faults{Banner: []string{"hello"}, Resets: []float64{2}}
	if s := lines(banner, 5); strings.Count(s, "hello") != 2 || math.Abs(float64(strings.Count(s, "\n"))-177) > 3 {
		t.Errorf("after a reset %d banners and %d lines, want 2 and 177", strings.Count(s, "hello"), strings.Count(s, "\n"))
	}
	if s := lines(Faults{GlueRate: 1}, 1); strings.Contains(s, "\n") {
		t.Error("glued lines have ends")
	}
	burst := NewBench(plainWorld(), Probe{RateHz: 50}, Hand{}, BenchOptions{Faults: Faults{BurstLines: 10}})
	quiet := 0
	for range 100 {
		if len(burst.Step()) == 0 {
			quiet++
		}
	}
	if quiet != 90 {
		t.Errorf("%d of 100 steps were quiet, want 90", quiet)
	}
}

func TestUnpluggingIsSaid(t *testing.T) {
	b := NewBench(plainWorld(), DefaultProbe(), Hand{}, BenchOptions{Faults: Faults{Unplugs: []Span{{5, 3}}}})
	var lost, back, before float64
	for _, it := range drain(t, NewStream(b, link.NewDecoder(link.DecodeOptions{}), 12)) {
		switch {
		case it.Kind == link.Lost:
			lost = it.TS
		case it.Kind == link.Back:
			back = it.TS
		case it.Kind == link.Reading && lost > 0 && back == 0:
			before = it.TS
		}
	}
	if math.Abs(lost-5) > .1 || math.Abs(back-8) > .1 || before != 0 {
		t.Errorf("lost at %v, back at %v, a sample between at %v", lost, back, before)
	}
}

func TestStreamEnds(t *testing.T) {
	b := NewBench(plainWorld(), DefaultProbe(), Hand{}, BenchOptions{})
	s := NewStream(b, link.NewDecoder(link.DecodeOptions{}), 0)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("after cancel: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Next(t.Context()); !errors.Is(err, io.EOF) {
		t.Errorf("after Close: %v", err)
	}
}

// The byte path and the fast path have the same physics: at rest both read
// the world's field at the sensor's place.
func TestBenchReadsTheWorld(t *testing.T) {
	w := plainWorld()
	b := NewBench(w, Probe{RateHz: 50}, Hand{}, BenchOptions{})
	if err := b.SetLoad("motor", 10); err != nil {
		t.Fatal(err)
	}
	b.Move(r3.Vec{X: 60, Y: 30}, 2, false)
	collect(b, 2.5)
	at := w.Craft.Module.SensorAt(r3.Vec{X: 60, Y: 30}, 0)
	near(t, "at rest", b.reading().b, w.Field(at, b.Now(), State{Levels: map[string]float64{"motor": 10}}), 1e-9)
	still := b.reading().b
	b.Move(r3.Vec{X: 60, Y: 30}, 2, false)
	collect(b, 3.5)
	if d := r3.Norm(r3.Sub(b.reading().b, still)); d < 1 {
		t.Errorf("carried, the field changed by %v uT only", d)
	}
	b.Move(r3.Vec{X: 60, Y: 30}, 1, true)
	collect(b, 6)
	back := b.reading().b
	near(t, "backwards", back, r3.Vec{X: -still.X, Y: -still.Y, Z: still.Z}, 1e-9)
}
