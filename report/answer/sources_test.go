package answer

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/report/internal/example"
	"quietmount/report/words"
	"quietmount/survey/sources"
)

// The simulated catamaran's sources as a script and as a builder see them.
func TestSourcesAnswer(t *testing.T) {
	s, err := example.Sandpiper()
	if err != nil {
		t.Fatal(err)
	}
	all, err := sources.Find(t.Context(), s.Found)
	if err != nil {
		t.Fatal(err)
	}
	answer := NewSources(words.Terminal, s.Found, all)
	a := hasKeys(t, "sources", jsonOf(t, answer), "sources", "unexplained", "states", "explain_nothing", "warnings")
	if v, ok := a["unexplained"].(float64); !ok || v < 0 || v > 1 {
		t.Errorf("unexplained %v", a["unexplained"])
	}
	kinds := map[string]int{}
	list, _ := a["sources"].([]any)
	for _, x := range list {
		m := hasKeys(t, "source", x, "kind", "part", "state", "at_mm", "at_standard_uncertainty_mm", "safe_distance_mm")
		kind, _ := m["kind"].(string)
		kinds[kind]++
		safe := hasKeys(t, "safe distance", m["safe_distance_mm"], "budget", "standard", "reduced")
		budget, _ := safe["budget"].(float64)
		standard, _ := safe["standard"].(float64)
		reduced, _ := safe["reduced"].(float64)
		// The builder's limits are far above 314 nT, and that above 94 nT.
		if !(budget > 0 && budget < reduced && reduced < standard) {
			t.Errorf("safe distances %v", safe)
		}
		if (kind == "dipole") != (m["moment_am2"] != nil) || (kind == "lead") != (m["current_a"] != nil) {
			t.Errorf("%s with moment %v and current %v", kind, m["moment_am2"], m["current_a"])
		}
		for _, k := range []string{"at_mm", "at_standard_uncertainty_mm"} {
			if v, _ := m[k].([]any); len(v) != 3 {
				t.Errorf("%s is %v", k, m[k])
			}
		}
	}
	if kinds["dipole"] < 3 || kinds["lead"] < 2 {
		t.Errorf("found %v", kinds)
	}
	text := textOf(t, func(b *bytes.Buffer) error { return answer.Text(b) })
	for _, want := range []string{"The hatch magnet explains", "unnamed source sits", "The left lead explains", "left unexplained", "94 nT"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("the text lacks %q:\n%s", want, text)
		}
	}
	aligned(t, text, "source")
}

// A state within its noise, a part that explains nothing, two that cannot be
// told apart: each is said.
func TestSourcesInWords(t *testing.T) {
	f, _ := example.RankedBoard()
	one := sources.Source{Fitted: source.Fitted{Kind: source.KindDipole, Name: "servo", MomentAm2: r3.Vec{X: .1}, Share: 0.6}, State: "unpowered", StrayMM: 12}
	two := sources.Source{Fitted: source.Fitted{Kind: source.KindDipole, MomentAm2: r3.Vec{X: .1}, Share: 0.3}, State: "unpowered", Probably: "pump", Nearest: sources.Nearest{Part: "pump", Offset: r3.Vec{Y: 9}}}
	none := sources.Source{Fitted: source.Fitted{Name: "hinge", P: 0.4}, State: "unpowered"}
	all := &sources.Findings{States: []sources.StateSources{
		{State: "unpowered", Sources: []sources.Source{one, two}, Nothing: []sources.Source{none}, Unexplained: 0.1, Alike: [][2]int{{0, 1}}},
		{State: "motor", Stations: 12, Quiet: true},
		{State: "pump", Sources: []sources.Source{
			{Fitted: source.Fitted{Kind: source.KindLead, CurrentA: 9, GapMM: 4.2, Share: 0.98, PathMM: []r3.Vec{{X: 60, Z: 40}, {X: -200, Y: -90, Z: 50}}}, State: "pump"},
		}},
	}}
	text := strings.Join(strings.Fields(textOf(t, func(b *bytes.Buffer) error { return NewSources(words.Terminal, f, all).Text(b) })), " ")
	for _, want := range []string{
		"The servo explains 60 % of the steady part; its field comes from 12 mm off its stated place.",
		"A second, unnamed source sits 9 mm right of the pump and explains 30 %; probably the pump itself",
		"The hinge explains nothing of it (p = 0.4).",
		"The servo and the unnamed source 9 mm right of the pump cannot be told apart",
		"Of the steady part 10 % is left unexplained.",
		`An unnamed lead runs from x 60, y 0, z 40 mm to x -200, y -90, z 50 mm and explains 98 % of the load "pump": a pair of 9 A, 4.2 mm apart.`,
		`The load "motor": nothing beyond the noise of 12 stations`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q:\n%s", want, text)
		}
	}
}

// A cube of 10 mm of Br 1.30 T has Br V / mu0 = 1.0345 A m2.
func TestCube(t *testing.T) {
	if e := cubeMM(1.0345); math.Abs(e-10) > 0.01 {
		t.Errorf("%.3f mm", e)
	}
}
