package link

import (
	"math"
	"strings"
	"testing"

	"quietmount/magmath"
)

// FuzzDecoder feeds arbitrary bytes in arbitrary pieces under a few options:
// no panic, only finite samples, time that never runs backwards, bounded
// memory, and no more lines than bytes.
func FuzzDecoder(f *testing.F) {
	for i := range shapes {
		f.Add([]byte(shapeText(&shapes[i], vectors(8))), uint8(i), uint8(7))
	}
	f.Add([]byte("\n1e12,-1e12,1e12\n"+strings.Repeat("4294967295,1,2,3\n0,1,2,3\n", 40)), uint8(0), uint8(200))
	f.Fuzz(func(t *testing.T, p []byte, option, chunk uint8) {
		d := NewDecoder(fuzzOptions(option))
		var items []Item
		ts, last := 0.0, math.Inf(-1)
		check := func() {
			for _, it := range items {
				if it.Kind != Reading {
					continue
				}
				s := it.Sample
				if !magmath.FiniteVec(s.B) || !magmath.FiniteVec(s.Acc) || !finite(s.CurrentA) || !finite(s.TS) {
					t.Fatalf("not finite: %+v", s)
				}
				if s.TS < last {
					t.Fatalf("time ran backwards: %g after %g", s.TS, last)
				}
				last = s.TS
			}
		}
		for len(p) > 0 {
			n := min(len(p), int(chunk)+1)
			items = d.Feed(items[:0], p[:n], ts)
			check()
			p, ts = p[n:], ts+0.1
			if len(d.held) > maxHeld || len(d.raw) > 1024 {
				t.Fatal("memory grows")
			}
		}
		items = d.Flush(items[:0], ts)
		check()
		if c := d.Counters(); c.Samples > c.Lines || c.Lines > c.Bytes+1 {
			t.Fatalf("counters %+v", c)
		}
	})
}

func fuzzOptions(k uint8) DecodeOptions {
	switch k % 5 {
	case 1:
		return DecodeOptions{Scale: 0.1, KeepFirst: true}
	case 2:
		return DecodeOptions{Columns: mustColumns("t,x,y,z"), Scale: 1}
	case 3:
		return DecodeOptions{ReferenceUT: 48, RateHz: 50}
	case 4:
		return DecodeOptions{Columns: mustColumns("id,x,y,z,current,on"), Scale: 1, RateHz: 10}
	}
	return DecodeOptions{}
}

// FuzzColumns: what is taken is printed and read back alike.
func FuzzColumns(f *testing.F) {
	f.Add("t,x,y,z")
	f.Add("ax,ay,az,-,-,-,x,y,z")
	f.Fuzz(func(t *testing.T, s string) {
		c, err := ParseColumns(s)
		if err != nil {
			return
		}
		again, err := ParseColumns(c.String())
		if err != nil || again.String() != c.String() {
			t.Fatalf("%q became %q, then %q (%v)", s, c, again, err)
		}
	})
}

func BenchmarkDecoder(b *testing.B) {
	for _, name := range []string{"commas", "nine labels", "JSON", "an axis a line"} {
		for i := range shapes {
			if shapes[i].name != name {
				continue
			}
			b.Run(strings.ReplaceAll(name, " ", "-"), func(b *testing.B) {
				text := []byte(shapeText(&shapes[i], vectors(1000)))
				d := NewDecoder(shapes[i].opts)
				items := d.Feed(nil, text, 0) // decide
				before := d.Counters().Lines
				b.ReportAllocs()
				for b.Loop() {
					items = d.Feed(items[:0], text, 1)
				}
				b.ReportMetric(float64(d.Counters().Lines-before)/b.Elapsed().Seconds(), "lines/s")
			})
		}
	}
}

// Once it has decided, the decoder allocates nothing a line.
func TestDecoderDoesNotAllocate(t *testing.T) {
	for i := range shapes {
		d := NewDecoder(shapes[i].opts)
		text := []byte(shapeText(&shapes[i], vectors(100)))
		items := d.Feed(make([]Item, 0, 4096), text, 0)
		items = d.Feed(items[:0], text, 1)
		if n := testing.AllocsPerRun(5, func() { items = d.Feed(items[:0], text, 2) }); n > 1 {
			t.Errorf("%s: %g allocations in 100 vectors", shapes[i].name, n)
		}
	}
}
