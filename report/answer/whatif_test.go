package answer

import (
	"bytes"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/internal/example"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/balance"
	"quietmount/survey/rank"
	"quietmount/survey/whatif"
)

func TestWhatIfAnswer(t *testing.T) {
	s, err := example.Sandpiper()
	if err != nil {
		t.Fatal(err)
	}
	best := s.Ranking.Spots[0].At
	changes := whatif.Changes{AddMagnets: []whatif.AddMagnet{{AtMM: r3.Add(best, r3.Vec{Z: 15}), MomentAm2: r3.Vec{Z: 0.2}}}}
	after, notes, err := whatif.Predict(t.Context(), s.Found, changes)
	if err != nil {
		t.Fatal(err)
	}
	now, err := rank.Rank(t.Context(), after, rank.Options{Most: 6, Next: -1})
	if err != nil {
		t.Fatal(err)
	}
	answer := NewWhatIf(t.Context(), words.Terminal, Trial{Words: []string{"a magnet under spot 1"}, Changes: changes}, notes, s.Found, after, s.Ranking, now)
	a := hasKeys(t, "whatif", jsonOf(t, answer), "before", "after", "change", "notes")
	for _, k := range []string{"before", "after"} {
		r := hasKeys(t, k, a[k], "spots", "excluded", "next_stations")
		if list, _ := r["spots"].([]any); len(list) == 0 {
			t.Errorf("%s has no spots", k)
		}
	}
	text := textOf(t, func(b *bytes.Buffer) error { return answer.Text(b) })
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{"What if: a magnet under spot 1. Nothing on disk is changed.", "Before: Spot 1", "After: Spot 1", "The old spot 1 would then have"} {
		if !strings.Contains(flat, want) {
			t.Errorf("lacks %q:\n%s", want, text)
		}
	}
	aligned(t, text, "spot")
}

func tray() *survey.Craft {
	return &survey.Craft{
		Name: "Tray", Module: survey.Module{Name: "puck", MassG: 40}, Body: survey.Body{OutlineMM: example.Box(400, 200)},
		Parts: []survey.Part{
			{Name: "hull", MassG: 1160, AtMM: &r3.Vec{X: -20}},
			{Name: "battery", MassG: 400, AtMM: &r3.Vec{X: 30}, SlideMM: &[2]float64{0, 40}},
		},
		Balance: &survey.Balance{CGXMM: [2]float64{-5, 5}, CGYMM: [2]float64{-3, 3}},
	}
}

func TestBalanceAnswer(t *testing.T) {
	b, err := balance.Of(tray(), &r3.Vec{X: -160})
	if err != nil {
		t.Fatal(err)
	}
	answer := NewBalance(words.Terminal, "Tray", b)
	a := hasKeys(t, "balance", jsonOf(t, answer), "cg_x_mm", "cg_y_mm", "mass_g", "battery_move_mm", "ok")
	// -11 mm; 24 mm would do, 10 mm are there.
	if a["cg_x_mm"] != -11.0 || a["mass_g"] != 1600.0 || a["battery_move_mm"] != 10.0 || a["ok"] != false {
		t.Errorf("%v", a)
	}
	text := strings.Join(strings.Fields(textOf(t, func(b *bytes.Buffer) error { return answer.Text(b) })), " ")
	for _, want := range []string{
		"with the module at x -160, y 0 mm: 1600 g, centre of gravity at x -11.0, y 0.0 mm.",
		"Allowed: x -5 to 5 mm, y -3 to 3 mm.", "It is out of balance.",
		"Move the battery 10.0 mm forward", "Its slide of 0 to 40 mm is 14 mm too short", "of ballast at x 200, y 0 mm restores it.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q: %s", want, text)
		}
	}
}

// Without a range, a battery or a module nothing is made up.
func TestBalanceAnswerOfLittle(t *testing.T) {
	c := tray()
	c.Balance, c.Parts = nil, c.Parts[:1]
	b, err := balance.Of(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	answer := NewBalance(words.Terminal, "Tray", b)
	a := jsonOf(t, answer)
	if a["ok"] != true || a["module_at_mm"] != nil || a["battery"] != nil {
		t.Errorf("%v", a)
	}
	c = tray()
	c.Parts = c.Parts[:1]
	c.Parts[0].AtMM.Y = 9
	if b, err = balance.Of(c, nil); err != nil {
		t.Fatal(err)
	}
	a = jsonOf(t, NewBalance(words.Terminal, "Tray", b))
	if a["battery_move_mm"] != nil || a["ok"] != false {
		t.Errorf("%v", a)
	}
	text := textOf(t, func(b *bytes.Buffer) error { return answer.Text(b) })
	if !strings.Contains(text, "without the module") || !strings.Contains(text, "Caution: No range is stated") {
		t.Error(text)
	}
}
