package answer

import (
	"bytes"
	"io"
	"strings"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/report/internal/example"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

func textOf(t *testing.T, print func(*bytes.Buffer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := print(&b); err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(b.String(), "\n") {
		if text.Width(line) > text.Columns {
			t.Errorf("%d columns: %s", text.Width(line), line)
		}
		if strings.TrimRight(line, " ") != line {
			t.Errorf("blanks at the end: %q", line)
		}
	}
	return b.String()
}

// aligned checks that the rows of the table that starts with a head line end
// their columns under one another.
func aligned(t *testing.T, all, firstHead string) {
	t.Helper()
	_, table, _ := strings.Cut(all, firstHead)
	_, table, ok := strings.Cut(table, "--\n")
	if !ok {
		t.Fatalf("no table in:\n%s", all)
	}
	table, _, _ = strings.Cut(table, "\n\n")
	width := 0
	for line := range strings.SplitSeq(table, "\n") {
		if strings.HasPrefix(line, "      ") {
			continue // a remark
		}
		if width == 0 {
			width = text.Width(line)
		}
		if text.Width(line) != width {
			t.Errorf("a row of %d columns among rows of %d: %s", text.Width(line), width, line)
		}
	}
}

func TestRankText(t *testing.T) {
	f, r := example.RankedBoard()
	text := textOf(t, func(b *bytes.Buffer) error { return NewRank(words.Terminal, f, r).Text(b) })
	aligned(t, text, "spot")
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{
		"Spot 1, at x 100, y 140 mm near D1, is within the budget",
		"stays under 1.6 degrees of the 5 allowed",
		"1 100 140 0 D1 1.2 1.6 1.1 1.7 26 198",
		"cannot be told from the best; between stations: measure here before trusting it",
		"over the budget; the compass can point anywhere",
		"any any", "cable 30 %", "keep-out hatch 8 %",
		"by a factor of up to 1.5", "Measure next at x 20, y 60, z 0 mm",
		`Caution: The load "motor"`, "the craft level, the worst heading",
	} {
		if !strings.Contains(flat, want) {
			t.Errorf("%q is missing in:\n%s", want, text)
		}
	}
	if strings.Contains(flat, "outline 0 %") {
		t.Error("a constraint that takes nothing is listed")
	}
}

func TestRankTextWithoutAnswer(t *testing.T) {
	f, _ := example.RankedBoard()
	buys := []remark.Remark{remark.New("rank.buys", remark.Values{"deg": 1., "x_mm": 40., "y_mm": -8.}).At(remark.Place{Station: "A2"}), remark.New("rank.buys_within_budget")}
	none := &rank.Ranking{Why: []remark.Remark{remark.New("rank.no_place"), remark.New("rank.relax_cable", remark.Values{"by_mm": 40., "buys": buys})}}
	if text := textOf(t, func(b *bytes.Buffer) error { return NewRank(words.Terminal, f, none).Text(b) }); !strings.Contains(strings.Join(strings.Fields(text), " "), "could be mounted. No place is left on which the module could be mounted; 40 mm more cable: 1.0 degrees near A2 (x 40, y -8 mm), within the budget") {
		t.Errorf("got:\n%s", text)
	}
}

func TestMapText(t *testing.T) {
	f, _ := example.RankedBoard()
	text := textOf(t, func(b *bytes.Buffer) error { return NewMap(words.Terminal, f, nil).Text(b) })
	aligned(t, text, "station")
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{"Board, 2026-06-01: 16 stations, runs 1.", "horizontal 18.5 uT", "any any", "94 % lie inside", "Caution: The load", "can point anywhere"} {
		if !strings.Contains(flat, want) {
			t.Errorf("%q is missing in:\n%s", want, text)
		}
	}
}

func TestMapTextOfWhatWasNotMeasured(t *testing.T) {
	f := example.Findings(example.Board(300, 500, 100), nil, nil)
	f.Basis, f.LeftOut = evaluate.BasisMagnitude, nil
	text := textOf(t, func(b *bytes.Buffer) error { return NewMap(words.Terminal, f, nil).Text(b) })
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{"No load was measured: the shifting part is unknown", "No vectors of the steady part", "a weaker basis", "A1 100 -200 0 - - - - - -"} {
		if !strings.Contains(flat, want) {
			t.Errorf("%q is missing in:\n%s", want, text)
		}
	}
}

func BenchmarkMapText(b *testing.B) {
	s, err := example.Sandpiper()
	if err != nil {
		b.Fatal(err)
	}
	a := NewMap(words.Terminal, s.Found, nil)
	for b.Loop() {
		if err := a.Text(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

// Where the spot of the least error to be expected is over the budget and another is
// within it, the verdict is about the other.
func TestRankVerdictIsOfASpotWithin(t *testing.T) {
	f, r := example.RankedBoard()
	r.Spots[0].BoundWithin, r.Spots[0].WithinBudget = false, false
	got := NewRank(words.Terminal, f, r).Verdict()
	for _, want := range []string{"Spot 2, at", "is within the budget", "at spot 1, which does not qualify: over the budget."} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in %q", want, got)
		}
	}
}
