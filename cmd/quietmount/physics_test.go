package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// The folders here are made of closed-form fields: a uniform background, a
// magnet that is always there and one that a load switches. The craft is
// invented. The answers are compared with the closed form itself.

const gridCraft = `name = "Skiff"   # invented
[site]
latitude_deg = 53.3
longitude_deg = -9.1
date = "2026-06-01"
[module]
name = "puck"
mass_g = 20
range_ut = 800
cable_mm = 400
footprint_mm = [20, 20]
sensor_height_mm = 10
sensor_offset_mm = [4, 0]
axes = ["+x", "+y", "+z"]
[craft]
outline_mm = [[200, 100], [-200, 100], [-200, -100], [200, -100]]
surface_z_mm = -20
[grid]
spacing_mm = 50
origin_mm = [0, 0]
[base]
name = "T"
at_mm = [700, 0, -20]
[[keepout]]
name = "hatch"
outline_mm = [[-100, -60], [-100, 60], [-180, 60], [-180, -60]]
[[load]]
name = "main motor"
kind = "current"
max_current_a = 10
[cable]
from_mm = [0, 0]
slack_mm = 10
[limits]
heading_error_deg = 5
steady_ut = 100
`

// scene is a closed-form craft.
type scene struct {
	earth  r3.Vec
	magnet r3.Vec // moment of what is always there, A m2
	at     r3.Vec
	motor  r3.Vec // moment while the load is on at 1 A
	from   r3.Vec
	noise  float64
	rng    *rand.Rand
}

func newScene(seed uint64) *scene {
	return &scene{
		earth:  r3.Vec{X: 14.4, Y: -12.1, Z: 45.7},
		magnet: r3.Vec{X: 0.05, Y: -0.02, Z: 0.08}, at: r3.Vec{X: 120, Y: -40, Z: 30},
		motor: r3.Vec{Y: 0.006, Z: 0.004}, from: r3.Vec{X: -100, Y: 20, Z: 20},
		noise: 0.2, rng: rand.New(rand.NewPCG(seed, 99)),
	}
}

// sensor is where the sensor is when the module stands at a mark.
func sensor(at r3.Vec) r3.Vec { return r3.Add(at, r3.Vec{X: 4, Z: -10}) }

func (s *scene) steady(at r3.Vec) r3.Vec { return dipoleUT(s.magnet, s.at, sensor(at)) }

func (s *scene) shifting(at r3.Vec, amps float64) r3.Vec {
	return r3.Scale(amps, dipoleUT(s.motor, s.from, sensor(at)))
}

// dipoleUT is the field in microtesla of a magnet of moment m (A m2) at place
// src, at place p, in millimetres.
//
// Source: Griffiths, Introduction to Electrodynamics, 4th ed., eq. 5.89 (from
// memory): B = mu0/(4 pi r^3) (3 (m.r^) r^ - m), mu0/4pi = 1e-7.
func dipoleUT(m, src, p r3.Vec) r3.Vec {
	d := r3.Scale(1e-3, r3.Sub(p, src))
	r := r3.Norm(d)
	u := r3.Scale(1/r, d)
	return r3.Scale(1e-7*1e6/(r*r*r), r3.Sub(r3.Scale(3*r3.Dot(m, u), u), m))
}

// mark is a station in a fabricated run.
type mark struct {
	name string
	at   r3.Vec
}

// gridMarks are the nodes of the 50 mm grid on the craft: columns are letters
// from left to right, rows numbers from nose to tail.
func gridMarks() []mark {
	var out []mark
	for row := range 9 {
		for column := range 5 {
			out = append(out, mark{
				fmt.Sprintf("%c%d", 'A'+column, row+1),
				r3.Vec{X: float64(200 - 50*row), Y: float64(50*column - 100), Z: -20},
			})
		}
	}
	return out
}

// someMarks are every second node in both directions, fifteen.
func someMarks() []mark {
	var out []mark
	for i, m := range gridMarks() {
		if i/5%2 == 0 && i%5%2 == 0 {
			out = append(out, m)
		}
	}
	return out
}

var base = mark{"T", r3.Vec{X: 700, Z: -20}}

// walked puts the base at both ends of a walk.
func walked(marks []mark) []mark { return append(append([]mark{base}, marks...), base) }

// csv fabricates a run: 40 samples a dwell at 20 Hz of what field says.
func (s *scene) csv(marks []mark, field func(m mark) r3.Vec) string {
	var b strings.Builder
	b.WriteString("capture,station,t_s,bx_ut,by_ut,bz_ut\n")
	t := 0.0
	for i, m := range marks {
		for range 40 {
			v := s.noisy(field(m))
			fmt.Fprintf(&b, "%d,%s,%.3f,%.4f,%.4f,%.4f\n", i+1, m.name, t, v.X, v.Y, v.Z)
			t += 0.05
		}
		t += 5
	}
	return b.String()
}

func (s *scene) noisy(v r3.Vec) r3.Vec {
	return r3.Add(v, r3.Scale(s.noise, r3.Vec{X: s.rng.NormFloat64(), Y: s.rng.NormFloat64(), Z: s.rng.NormFloat64()}))
}

func (s *scene) background(mark) r3.Vec { return s.earth }

func (s *scene) unpowered(m mark) r3.Vec {
	return r3.Add(s.earth, s.steady(m.at))
}

func (s *scene) powered(amps float64) func(mark) r3.Vec {
	return func(m mark) r3.Vec { return r3.Add(s.unpowered(m), s.shifting(m.at, amps)) }
}

// pulsedCSV fabricates pulsed dwells with load_on: six pulses of a second.
func (s *scene) pulsedCSV(marks []mark, amps float64) string {
	var b strings.Builder
	b.WriteString("capture,station,t_s,bx_ut,by_ut,bz_ut,load_on,current_a\n")
	t := 0.0
	for i, m := range marks {
		for k := range 13 * 20 {
			on := k / 20 % 2
			v := s.noisy(r3.Add(s.unpowered(m), r3.Scale(float64(on), s.shifting(m.at, amps))))
			fmt.Fprintf(&b, "%d,%s,%.3f,%.4f,%.4f,%.4f,%d,%.2f\n", i+1, m.name, t, v.X, v.Y, v.Z, on, amps*float64(on))
			t += 0.05
		}
		t += 5
	}
	return b.String()
}

// take imports a run.
func take(t *testing.T, dir, text string, args ...string) {
	t.Helper()
	r := callWith(t, dir, text, append(append([]string{"import"}, args...), "-")...)
	if r.status != 0 {
		t.Fatalf("import %q: exit status %d\n%s", args, r.status, r.stderr)
	}
}

func craftFolder(t *testing.T, craft string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "un bâteau")
	write(t, filepath.Join(dir, "craft.toml"), craft)
	return dir
}

func referenceH(t *testing.T, dir string) float64 {
	t.Helper()
	var f struct {
		H float64 `json:"h_nt"`
	}
	ask(t, dir, &f, "field")
	return f.H / 1000
}

func horizontal(v r3.Vec) float64 { return math.Hypot(v.X, v.Y) }

// errorDeg is the largest heading error of a level compass for a horizontal
// disturbance d in a horizontal field h. Source: elementary; the resultant of
// h and a vector of length d turning round its tip leaves h by at most
// asin(d/h).
func errorDeg(d, h float64) float64 {
	if d >= h {
		return 180
	}
	return math.Asin(d/h) * 180 / math.Pi
}

func TestMapMeetsTheClosedForm(t *testing.T) {
	s := newScene(1)
	dir := craftFolder(t, gridCraft)
	marks := walked(gridMarks())
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, s.csv(marks, s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(marks, 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	var m mapJSON
	ask(t, dir, &m, "map")
	if m.Basis != "vector" || len(m.Stations) != 45 {
		t.Fatalf("basis %q, %d stations", m.Basis, len(m.Stations))
	}
	h := referenceH(t, dir)
	inSteady, inShifting := 0, 0
	for _, k := range gridMarks() {
		st := m.station(t, k.name)
		if st.X != k.at.X || st.Y != k.at.Y || st.Z != k.at.Z {
			t.Errorf("%s is said to be at %v %v %v", k.name, st.X, st.Y, st.Z)
		}
		checkEstimate(t, k.name+" steady", st.Steady, st.SteadyCov, s.steady(k.at), 0)
		checkEstimate(t, k.name+" shifting", st.Shifting, st.ShiftingCov, s.shifting(k.at, 10), 0)
		inSteady += checkHeading(t, k.name+" steady", st.SteadyError, st.Steady, s.steady(k.at), h)
		inShifting += checkHeading(t, k.name+" shifting", st.ShiftingError, st.Shifting, s.shifting(k.at, 10), h)
		want := r3.Norm(s.unpowered(k)) - r3.Norm(s.earth)
		if st.Magnitude == nil || math.Abs(*st.Magnitude-want) > 1.5 {
			t.Errorf("%s: magnitude_difference_ut %v, want %.2f", k.name, st.Magnitude, want)
		}
	}
	// A one-sided 95 % bound of 45 stations covers fewer than 38 with odds of
	// about one in a hundred (binomial); estimates that share a cause do worse.
	if inSteady < 36 || inShifting < 36 {
		t.Errorf("upper95 covers the truth at %d (steady) and %d (shifting) of 45 stations", inSteady, inShifting)
	}
	for _, part := range []string{"steady", "shifting"} {
		l, ok := m.LeftOut[part]
		if !ok || l.RMSE == nil || l.Inside == nil || !(*l.RMSE > 0) || *l.Inside < 0 || *l.Inside > 1 {
			t.Errorf("left_out.%s is %+v", part, l)
		}
	}
}

// checkHeading compares a heading error with the closed form and gives 1 if
// its bound covers the truth.
func checkHeading(t *testing.T, what string, got *quantilesJSON, estimate *[3]float64, truth r3.Vec, h float64) int {
	t.Helper()
	if got == nil || estimate == nil {
		t.Errorf("%s: no heading error", what)
		return 0
	}
	want := errorDeg(horizontal(truth), h)
	if got.Upper95 < got.Estimate {
		t.Errorf("%s: upper95 %.2f under the estimate %.2f", what, got.Upper95, got.Estimate)
	}
	if want == 180 && got.Upper95 < 90 {
		t.Errorf("%s: %+v where the compass can point anywhere", what, *got)
	}
	if got.Upper95 >= want {
		return 1
	}
	return 0
}

// Where the disturbance is no smaller than H, the compass can point anywhere.
func TestAnyDirection(t *testing.T) {
	s := newScene(2)
	s.magnet = r3.Vec{X: 2}
	dir := craftFolder(t, gridCraft)
	take(t, dir, s.csv(walked(gridMarks()[:6]), s.background), "--state", "background")
	take(t, dir, s.csv(walked(gridMarks()), s.unpowered), "--state", "unpowered")
	var m mapJSON
	ask(t, dir, &m, "map")
	h := referenceH(t, dir)
	seen := 0
	for _, k := range gridMarks() {
		d := horizontal(s.steady(k.at))
		if d < 1.5*h {
			continue
		}
		seen++
		e := m.station(t, k.name).SteadyError
		if e == nil || e.Estimate != 180 || e.Upper95 != 180 || !e.AnyDirection {
			t.Errorf("%s: %+v with %.0f uT across a field of %.1f uT", k.name, e, d, h)
		}
	}
	if seen == 0 {
		t.Fatal("the magnet is too weak for this test")
	}
	for _, st := range m.Stations {
		if st.Shifting != nil || st.ShiftingError != nil || st.ShiftingCov != nil {
			t.Fatalf("%s has a shifting part that nobody measured", st.Name)
		}
	}
}

// Two walks, unpowered and powered, give the shifting part too, less well.
func TestShiftingFromTwoWalks(t *testing.T) {
	s := newScene(3)
	dir := craftFolder(t, gridCraft)
	take(t, dir, s.csv(walked(gridMarks()), s.unpowered), "--state", "unpowered")
	take(t, dir, s.csv(walked(gridMarks()), s.powered(5)), "--state", "main motor", "--current-a", "5")
	var m mapJSON
	ask(t, dir, &m, "map")
	for _, k := range gridMarks() {
		st := m.station(t, k.name)
		checkEstimate(t, k.name+" shifting", st.Shifting, st.ShiftingCov, s.shifting(k.at, 10), 0)
	}
}

func TestMagnitudeBasisWithoutBackground(t *testing.T) {
	s := newScene(4)
	dir := craftFolder(t, gridCraft)
	take(t, dir, s.csv(walked(gridMarks()), s.unpowered), "--state", "unpowered")
	var m mapJSON
	ask(t, dir, &m, "map")
	if m.Basis != "magnitude" {
		t.Errorf("basis %q without a background", m.Basis)
	}
	for _, st := range m.Stations {
		if st.Magnitude == nil {
			t.Errorf("%s: no magnitude difference", st.Name)
		}
	}
}

func TestRankMeetsTheClosedForm(t *testing.T) {
	s := newScene(5)
	dir := craftFolder(t, gridCraft)
	marks := walked(gridMarks())
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, s.csv(marks, s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(marks, 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	var r rankJSON
	if status := ask(t, dir, &r, "rank"); status != 0 {
		t.Fatalf("exit status %d: %s", status, r.Why)
	}
	h := referenceH(t, dir)
	checkSpots(t, s, r, h)
	best := errorDeg(horizontal(s.shifting(r3.Vec{X: 190, Y: 90, Z: -20}, 10)), h)
	first := r.Spots[0]
	if got := errorDeg(horizontal(s.shifting(r3.Vec{X: first.X, Y: first.Y, Z: first.Z}, 10)), h); got > best+0.5 {
		t.Errorf("the best spot errs by %.2f degrees in truth, a corner by %.2f", got, best)
	}
}

// checkSpots demands that spots lie on the craft, off the keep-out, within
// the cable, in order, and do what they promise.
func checkSpots(t *testing.T, s *scene, r rankJSON, h float64) {
	t.Helper()
	if len(r.Spots) == 0 {
		t.Fatal("no spots")
	}
	for i, p := range r.Spots {
		if p.Rank != i+1 {
			t.Errorf("spot %d has rank %d", i+1, p.Rank)
		}
		if math.Abs(p.X) > 190 || math.Abs(p.Y) > 90 || p.Z != -20 {
			t.Errorf("spot %d at %v %v %v: its footprint leaves the craft", p.Rank, p.X, p.Y, p.Z)
		}
		if p.X < -90 && p.X > -190 && math.Abs(p.Y) < 70 {
			t.Errorf("spot %d at %v %v: its footprint lies in the keep-out", p.Rank, p.X, p.Y)
		}
		if p.Cable == nil || math.Abs(*p.Cable-math.Hypot(p.X, p.Y)-10) > 25 || *p.Cable > 400 {
			t.Errorf("spot %d: cable %v for a way of %.0f mm and 10 mm of slack", p.Rank, p.Cable, math.Hypot(p.X, p.Y))
		}
		if p.Shifting == nil || p.Factor == nil || math.Abs(*p.Factor-2) > 0.01 {
			t.Errorf("spot %d: %+v; measured at 5 A for 10 A", p.Rank, p)
			continue
		}
		truth := errorDeg(horizontal(s.shifting(r3.Vec{X: p.X, Y: p.Y, Z: p.Z}, 10)), h)
		if truth > p.Shifting.Upper95+0.7 {
			t.Errorf("spot %d errs by %.2f degrees, promised are %.2f", p.Rank, truth, p.Shifting.Upper95)
		}
	}
}

// Over the budget everywhere: exit 3, and the answer is printed all the same.
func TestRankWithNothingWithinBudget(t *testing.T) {
	s := newScene(6)
	s.motor = r3.Scale(60, s.motor)
	dir := craftFolder(t, gridCraft)
	marks := walked(gridMarks())
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, s.csv(marks, s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(marks, 10), "--state", "main motor", "--current-a", "10", "--pulsed")
	var r rankJSON
	if status := ask(t, dir, &r, "rank"); status != 3 || r.Qualified {
		t.Errorf("exit status %d, qualified %v with a motor that swings the needle everywhere", status, r.Qualified)
	}
	if text := call(t, dir, "rank"); text.status != 3 || !strings.Contains(text.out, "budget") {
		t.Errorf("exit status %d, %q", text.status, text.out)
	}
}

// A cable that reaches nowhere leaves no spot: exit 3.
func TestRankWithAShortCable(t *testing.T) {
	s := newScene(7)
	dir := craftFolder(t, strings.Replace(gridCraft, "cable_mm = 400", "cable_mm = 60", 1))
	marks := walked(gridMarks())
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, s.csv(marks, s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(marks, 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	var r rankJSON
	ask(t, dir, &r, "rank")
	for _, p := range r.Spots {
		if math.Hypot(p.X, p.Y)+10 > 60+1e-6 {
			t.Errorf("spot %d at %v %v is out of the cable's reach", p.Rank, p.X, p.Y)
		}
	}
	if r.Excluded["cable"] < 0.5 {
		t.Errorf("excluded: %v", r.Excluded)
	}
}

// Numbers with decimal commas, apart by semicolons, are the same numbers.
func TestDecimalCommas(t *testing.T) {
	text := newScene(8).csv(walked(gridMarks()), newScene(8).unpowered)
	var a, b mapJSON
	for i, into := range []*mapJSON{&a, &b} {
		dir := craftFolder(t, gridCraft)
		if i == 1 {
			text = strings.ReplaceAll(strings.ReplaceAll(text, ",", ";"), ".", ",")
		}
		take(t, dir, text, "--state", "unpowered")
		ask(t, dir, into, "map")
	}
	one, _ := json.Marshal(a)
	two, _ := json.Marshal(b)
	if string(one) != string(two) {
		t.Error("the map differs with decimal commas")
	}
}

// Stations that the craft file does not name carry their own place.
func TestStationsWithTheirOwnPlace(t *testing.T) {
	s := newScene(9)
	dir := craftFolder(t, gridCraft)
	extra := []mark{{"Mast 1", r3.Vec{X: -60, Y: 5, Z: -120}}, {"Mast 2", r3.Vec{X: -60, Y: 5, Z: -180}}}
	text := s.csv(extra, s.unpowered)
	lines := strings.Split(strings.TrimSpace(text), "\n")
	lines[0] += ",x_mm,y_mm,z_mm"
	for i := range lines[1:] {
		at := extra[i/40].at
		lines[i+1] += fmt.Sprintf(",%g,%g,%g", at.X, at.Y, at.Z)
	}
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, strings.Join(lines, "\r\n")+"\r\n", "--state", "unpowered")
	var m mapJSON
	ask(t, dir, &m, "map")
	for _, k := range extra {
		st := m.station(t, k.name)
		if st.X != k.at.X || st.Z != k.at.Z {
			t.Errorf("%s at %v %v %v", k.name, st.X, st.Y, st.Z)
		}
		checkEstimate(t, k.name, st.Steady, st.SteadyCov, s.steady(k.at), 0)
	}
}

// What export writes, import takes: the answers are the same.
func TestExportAndImportAgree(t *testing.T) {
	s := newScene(10)
	one, two := craftFolder(t, gridCraft), craftFolder(t, gridCraft)
	marks := walked(gridMarks()[:20])
	take(t, one, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, one, s.csv(marks, s.unpowered), "--state", "unpowered")
	take(t, one, s.pulsedCSV(marks, 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	for run, args := range [][]string{{"--state", "background"}, {"--state", "unpowered"}, {"--state", "main motor", "--current-a", "5", "--pulsed"}} {
		take(t, two, must(t, one, "export", "--run", fmt.Sprint(run+1)).out, args...)
	}
	a, b := must(t, one, "map", "--json").out, must(t, two, "map", "--json").out
	var x, y mapJSON
	if json.Unmarshal([]byte(a), &x) != nil || json.Unmarshal([]byte(b), &y) != nil {
		t.Fatal("no JSON")
	}
	for i := range x.Stations {
		p, q := x.Stations[i], y.Stations[i]
		if p.Name != q.Name || (p.Steady == nil) != (q.Steady == nil) {
			t.Fatalf("%s and %s", p.Name, q.Name)
		}
		if p.Steady == nil {
			continue
		}
		for k := range 3 {
			if math.Abs(p.Steady[k]-q.Steady[k]) > 1e-3 || math.Abs(p.Shifting[k]-q.Shifting[k]) > 1e-3 {
				t.Errorf("%s: %v %v before, %v %v after", p.Name, *p.Steady, *p.Shifting, *q.Steady, *q.Shifting)
			}
		}
	}
}
