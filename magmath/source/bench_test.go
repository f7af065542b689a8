package source

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func BenchmarkFind60(b *testing.B)  { benchmarkFind(b, 10, 6) }
func BenchmarkFind200(b *testing.B) { benchmarkFind(b, 20, 10) }

// benchmarkFind finds three magnets under a grid of stations.
func benchmarkFind(b *testing.B, nx, ny int) {
	rng := rand.New(rand.NewPCG(1, 1))
	var all []fieldOf
	for _, d := range magnetsUnder(rng, 3, float64(nx)*25, float64(ny)*25, 80) {
		all = append(all, d)
	}
	d := readingsOf(stationsOn(nx, ny, 60), 0.5, rng, all...)
	b.ReportAllocs()
	for b.Loop() {
		f, err := Find(b.Context(), d, nil, nil, Options{})
		if err != nil || len(f.Sources) != 3 {
			b.Fatalf("%v, %v", f, err)
		}
	}
}

func BenchmarkPathDistance(b *testing.B) {
	p := Pair{PathMM: []r3.Vec{{X: 60, Z: 40}, {X: -280, Y: -120, Z: 60}}, GapMM: 12, CurrentA: 18}
	for b.Loop() {
		PathDistance(p.PathMM, p.Field, 0.1)
	}
}

// BenchmarkFindLead60 and its like find a lead with a corner that nobody
// described.
func BenchmarkFindLead60(b *testing.B)  { benchmarkLead(b, 10, 6) }
func BenchmarkFindLead200(b *testing.B) { benchmarkLead(b, 20, 10) }

func benchmarkLead(b *testing.B, nx, ny int) {
	rng := rand.New(rand.NewPCG(1, 1))
	p := Pair{PathMM: []r3.Vec{{X: 60, Z: 40}, {X: -80, Y: -20, Z: 35}, {X: -230, Y: -100, Z: 50}}, GapMM: 12, CurrentA: 18}
	d := readingsOf(stationsOn(nx, ny, 60), 0.05, rng, p)
	b.ReportAllocs()
	for b.Loop() {
		f, err := Find(b.Context(), d, nil, nil, Options{CurrentA: 18, MostLeads: 2})
		if err != nil || len(f.Sources) == 0 {
			b.Fatalf("%v, %v", f, err)
		}
	}
}

// BenchmarkPredict asks the field of a lead and its uncertainty at a place.
func BenchmarkPredict(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	p := Pair{PathMM: []r3.Vec{{X: 60, Z: 40}, {X: -230, Y: -100, Z: 50}}, GapMM: 12, CurrentA: 18}
	f, err := Find(b.Context(), readingsOf(stationsOn(9, 5, 60), 0.05, rng, p), nil, nil, Options{CurrentA: 18, MostLeads: 1})
	if err != nil {
		b.Fatal(err)
	}
	at := r3.Vec{X: 20, Y: 30}
	b.ReportAllocs()
	for b.Loop() {
		f.At(at)
	}
}
