package source

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
)

// randomPath runs 25 to 55 mm under the stations, at times round a corner.
func randomPath(rng *rand.Rand) []r3.Vec {
	under := func() r3.Vec {
		return r3.Vec{X: 440 * (rng.Float64() - .5), Y: 200 * (rng.Float64() - .5), Z: 25 + 30*rng.Float64()}
	}
	for {
		path := []r3.Vec{under(), under()}
		if r3.Norm(r3.Sub(path[1], path[0])) < 150 {
			continue
		}
		if rng.Float64() < 0.5 {
			path = []r3.Vec{path[0], under(), path[1]}
		}
		return path
	}
}

func pathLength(path []r3.Vec) float64 {
	sum := 0.0
	for i := 1; i < len(path); i++ {
		sum += r3.Norm(r3.Sub(path[i], path[i-1]))
	}
	return sum
}

// apart is the root mean square distance of a path's points from another path.
func apart(a, b []r3.Vec) float64 {
	sum := 0.0
	points := along(a, 21)
	for _, p := range points {
		d := distanceTo(b, p)
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(points)))
}

// Leads that nobody described: their paths are found from the field, and
// foretell it where nobody measured. Leads described a few millimetres off
// come back where they are.
func TestLeadsFromTheField(t *testing.T) {
	trials := simtest.Trials(3, 8)
	at := stationsOn(9, 5, 60)
	for _, named := range []bool{false, true} {
		good, straightened, inside, n := 0, 0, 0.0, 0.0
		var off []float64
		for k := range trials {
			rng := rand.New(rand.NewPCG(uint64(k), 88))
			path := randomPath(rng)
			pair := Pair{PathMM: path, GapMM: 6 + 14*rng.Float64(), CurrentA: 20, Across: direction(rng)}
			d := readingsOf(at, 0.05, rng, pair)
			var leads []NamedLead
			o := Options{SpacingMM: 60, CurrentA: 20, MostLeads: 2}
			if named {
				stated := make([]r3.Vec, len(path))
				for i, p := range path {
					stated[i] = r3.Add(p, r3.Vec{X: 4 * rng.NormFloat64(), Y: 4 * rng.NormFloat64(), Z: 4 * rng.NormFloat64()})
				}
				leads, o.MostLeads = []NamedLead{{Name: "lead", PathMM: stated, GapMM: pair.GapMM, CurrentA: 20}}, 1
			}
			f, err := Find(t.Context(), d, nil, leads, o)
			if err != nil {
				t.Fatal(err)
			}
			if len(f.Sources) == 1 && f.Sources[0].Kind == KindLead {
				s := f.Sources[0]
				off = append(off, apart(path, s.PathMM))
				good++
				if named && math.Abs(s.CurrentA-20) > max(3, 3*s.CurrentSD) {
					t.Errorf("%d: %.1f A +- %.1f, truth 20", k, s.CurrentA, s.CurrentSD)
				}
				if got := s.GapMM * s.CurrentA * pathLength(s.PathMM); math.Abs(got/(pair.GapMM*20*pathLength(path))-1) < 0.25 {
					straightened++
				}
			}
			for range 20 {
				p := r3.Vec{X: 480 * (rng.Float64() - .5), Y: 240 * (rng.Float64() - .5), Z: -40 * rng.Float64()}
				mean, cov := f.At(p)
				e := r3.Sub(mean, pair.Field(p))
				for a, v := range []float64{e.X, e.Y, e.Z} {
					n++
					if math.Abs(v) < 1.96*math.Sqrt(cov[a][a]) {
						inside++
					}
				}
			}
		}
		t.Logf("named %v: one lead in %d of %d, mean distance from the true path %.1f mm, area times current within 25 %% in %d; field inside 95 %% in %.1f %%",
			named, good, trials, mean(off), straightened, 100*inside/n)
		if float64(good) < 0.6*float64(trials) || mean(off) > 8 {
			t.Errorf("named %v: paths not found", named)
		}
		if r := inside / n; r < 0.88 {
			t.Errorf("named %v: field inside its intervals in %.2f", named, r)
		}
	}
}

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

// The unit field of the fit is that of the closed circuit.
func TestPairColumnsAreThePair(t *testing.T) {
	path := []r3.Vec{{X: 60, Z: 40}, {X: -80, Y: -20, Z: 35}, {X: -230, Y: -100, Z: 50}}
	level, other := acrossPath(path)
	q := Pair{PathMM: path, GapMM: math.Hypot(9, 5), CurrentA: 1, Across: r3.Add(r3.Scale(9, level), r3.Scale(5, other))}
	flat := []float64{60, 0, 40, -80, -20, 35, -230, -100, 50, 9, 5}
	for _, p := range []r3.Vec{{X: 10, Y: 20}, {X: -150, Y: -40, Z: 5}, {X: 300, Y: -90, Z: -80}} {
		got, want := pairAlong(flat).field(p), q.Field(p)
		if r3.Norm(r3.Sub(got, want)) > 1e-9*r3.Norm(want) {
			t.Errorf("at %v: %v, want %v", p, got, want)
		}
	}
	if b := pairAlong([]float64{0, 0, 0, 1, 0, 0, 0, 0}).field(r3.Vec{Z: 1}); b != (r3.Vec{}) {
		t.Errorf("no gap, yet %v", b)
	}
}

// Source: the gradient of the cost by the coordinates, checked by central
// differences, for a model of a dipole, a named pair and one with its return
// elsewhere, away from the best fit.
func TestDownhill(t *testing.T) {
	at := stationsOn(5, 4, 60)
	rng := rand.New(rand.NewPCG(1, 99))
	p, err := newProblem(t.Context(), readingsOf(at, 0.5, rng, Dipole{AtMM: r3.Vec{X: 20, Z: 30}, MomentAm2: r3.Vec{X: .05, Z: .1}}))
	if err != nil {
		t.Fatal(err)
	}
	p.box(60)
	pair := NamedLead{PathMM: []r3.Vec{{X: -100, Z: 40}, {X: 90, Y: 30, Z: 30}}, GapMM: 8}.element()
	n := len(pair.coords)
	pair.coords[n-2], pair.coords[n-1] = 4, -7
	ring := NamedLead{PathMM: []r3.Vec{{X: -50, Y: 50, Z: 40}, {X: 80, Y: 60, Z: 30}}, ReturnMM: []r3.Vec{{X: 80, Y: 60, Z: 30}, {Y: -20, Z: 45}, {X: -50, Y: 50, Z: 40}}, CurrentA: 3}.element()
	es := []*element{dipoleAt("", r3.Vec{X: 35, Y: 10, Z: 45}, math.Inf(1)), pair, ring}
	q := p.at(es)
	slope, _ := p.downhill(q)
	k := 0
	for i, e := range es {
		for c := range e.coords {
			cost := func(d float64) float64 {
				moved := append([]*element(nil), es...)
				moved[i] = e.clone()
				moved[i].coords[c] += d
				return p.at(moved).cost
			}
			const h = 1e-3
			want := -(cost(h) - cost(-h)) / (4 * h)
			if math.Abs(slope[k]-want) > 2e-3*(math.Abs(want)+1) {
				t.Errorf("element %d, coordinate %d: %v, want %v", i, c, slope[k], want)
			}
			k++
		}
	}
}

// The derivatives of the field of a lead by its path and its gap, against
// differences of Richardson's form: over the lead, beside it in line with a
// piece, far away, and for a pair that has no gap.
func TestSlopesOfALead(t *testing.T) {
	path := []r3.Vec{{X: 60, Y: -120, Z: 50}, {X: 70, Y: 10, Z: 55}, {X: 20, Y: 120, Z: 50}}
	for _, gap := range []float64{0, 6} {
		e := leadAlong("", path, 1, 20, 10)
		e.coords[len(e.coords)-2] = gap
		for _, p := range []r3.Vec{{X: 55, Y: 20}, {X: 10, Y: 145, Z: 49}, {X: -300, Y: 200, Z: -60}} {
			got := e.gradients([]float64{20})(nil, p)
			for i := range e.coords {
				moved := func(by float64) r3.Vec {
					c := e.clone()
					c.coords[i] += by
					return r3.Scale(20, c.fields()(nil, p)[0])
				}
				slope := func(h float64) r3.Vec { return r3.Scale(1/(2*h), r3.Sub(moved(h), moved(-h))) }
				want := r3.Sub(r3.Scale(4./3, slope(0.05)), r3.Scale(1./3, slope(0.1)))
				if d := r3.Norm(r3.Sub(got[i], want)); d > 1e-6*(r3.Norm(want)+1e-4) {
					t.Errorf("gap %g, coordinate %d, at %v: %v, differences %v", gap, i, p, got[i], want)
				}
			}
		}
	}
}
