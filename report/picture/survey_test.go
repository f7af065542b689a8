package picture

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/draw"
	"quietmount/report/internal/example"
)

// A simulated survey from its captures to its map: the first spot is drawn at its
// place in the ranking.
func TestSurveyToMap(t *testing.T) {
	s, err := example.Sandpiper()
	if err != nil {
		t.Fatal(err)
	}
	p, err := Map(t.Context(), s.Found, s.Ranking, MapOptions{})
	if err != nil {
		t.Fatal(err)
	}
	keep(t, "sandpiper.png", p)
	best := s.Ranking.Spots[0]
	at := p.Frame.At(r2.Vec{X: best.At.X, Y: best.At.Y})
	img, err := p.Pixels(72)
	if err != nil {
		t.Fatal(err)
	}
	dark := 0
	for dx := -5; dx <= 5; dx++ {
		if r, _, _, _ := img.At(int(at.X)+dx, int(p.Height-at.Y)).RGBA(); r < 0x4000 {
			dark++
		}
	}
	if dark < 5 {
		t.Errorf("no mark where spot 1 stands, x %.0f y %.0f mm", best.At.X, best.At.Y)
	}
}

func benchmarkMap(b *testing.B, f draw.Format) {
	s, err := example.Sandpiper()
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		p, err := Map(b.Context(), s.Found, s.Ranking, MapOptions{})
		if err != nil {
			b.Fatal(err)
		}
		n = len(written(b, p, f))
	}
	b.ReportMetric(float64(n)/1000, "kB")
}

func BenchmarkMapPNG(b *testing.B) { benchmarkMap(b, draw.PNG) }
func BenchmarkMapSVG(b *testing.B) { benchmarkMap(b, draw.SVG) }
func BenchmarkMapPDF(b *testing.B) { benchmarkMap(b, draw.PDF) }
