package report

import (
	"bytes"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// Source: Unicode Standard Annex 11, table 1: W and F take two columns; marks
// that combine take none.
func TestDisplayWidth(t *testing.T) {
	for s, want := range map[string]int{"": 0, "A1": 2, "Möwe": 4, "Mo\u0308we": 4, "東北": 4, "ＡＢ": 4, "Чайка": 5, "µT °": 4, "a\u200bb": 2} {
		if got := displayWidth(s); got != want {
			t.Errorf("%q takes %d columns, want %d", s, got, want)
		}
	}
}

func TestClipped(t *testing.T) {
	for _, c := range []struct {
		s    string
		most int
		want string
	}{{"mast", 4, "mast"}, {"masthead", 5, "mast~"}, {"東北東", 4, "東~"}, {"東北東", 5, "東北~"}} {
		if got := clipped(c.s, c.most); got != c.want || displayWidth(got) > c.most {
			t.Errorf("%q in %d: %q, want %q", c.s, c.most, got, c.want)
		}
	}
}

// rankedBoard is an invented survey with every remark that a table can make.
func rankedBoard() (*findings.Findings, *findings.Ranking) {
	c := board(300, 500, 100)
	c.Singles = []survey.Station{{Name: "東北東の駅と長い名前", At: r3.Vec{X: 40, Y: 10}}}
	f := inventedFindings(c, bump{at: r3.Vec{Y: -200, Z: -5}, peak: 30, widthM: 60, ground: 0.4, sd: 0.05}, bump{at: r3.Vec{Y: 200, Z: -5}, peak: 9, widthM: 60, ground: 1, sd: 0.3})
	f.Notes = []string{"The load \"motor\" was measured with a substitute."}
	e := func(estimate, upper float64) heading.Error {
		return heading.Error{Quantiles: heading.Quantiles{Estimate: estimate, Upper95: upper}, AnyDirection: estimate >= 180}
	}
	spot := findings.Spot{Rank: 1, At: r3.Vec{X: 100, Y: 140}, NearestStation: "D1", Shifting: e(1.24, 1.61), Steady: e(3, 5),
		SteadyUT: heading.Quantiles{Estimate: 1.1, Upper95: 1.7}, PlacementToleranceMM: 26, CableMM: 198, ExtrapolationFactor: 1.5,
		WorstCombination: []string{"motor"}, WithinBudget: true, WithinSteady: true}
	second := spot
	second.Rank, second.NotToldFromBest, second.Interpolated, second.NearestStation = 2, true, true, "東北東の駅と長い名前"
	third := spot
	third.Rank, third.Shifting, third.WithinBudget, third.PlacementToleranceMM = 3, e(180, 180), false, 0
	return f, &findings.Ranking{Spots: []findings.Spot{spot, second, third}, Qualified: true, ByShifting: true,
		Excluded:     map[string]float64{"keepout hatch": 0.08, "cable": 0.3, "outline": 0},
		NextStations: []findings.NextStation{{At: r3.Vec{X: 20, Y: 60}, Why: "a spot near here may be as good as the best"}}}
}

func textOf(t *testing.T, print func(*bytes.Buffer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := print(&b); err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(b.String(), "\n") {
		if displayWidth(line) > textColumns {
			t.Errorf("%d columns: %s", displayWidth(line), line)
		}
		if strings.TrimRight(line, " ") != line {
			t.Errorf("blanks at the end: %q", line)
		}
	}
	return b.String()
}

// aligned checks that the rows of the table that starts with a head line end
// their columns under one another.
func aligned(t *testing.T, text, firstHead string) {
	t.Helper()
	_, table, _ := strings.Cut(text, firstHead)
	_, table, ok := strings.Cut(table, "--\n")
	if !ok {
		t.Fatalf("no table in:\n%s", text)
	}
	table, _, _ = strings.Cut(table, "\n\n")
	width := 0
	for line := range strings.SplitSeq(table, "\n") {
		if strings.HasPrefix(line, "      ") {
			continue // a remark
		}
		if width == 0 {
			width = displayWidth(line)
		}
		if displayWidth(line) != width {
			t.Errorf("a row of %d columns among rows of %d: %s", displayWidth(line), width, line)
		}
	}
}

func TestRankText(t *testing.T) {
	f, r := rankedBoard()
	text := textOf(t, func(b *bytes.Buffer) error { return NewRankAnswer(f, r).Text(b) })
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
	f, _ := rankedBoard()
	none := &findings.Ranking{Why: "The cable is 40 mm too short."}
	if text := textOf(t, func(b *bytes.Buffer) error { return NewRankAnswer(f, none).Text(b) }); !strings.Contains(strings.Join(strings.Fields(text), " "), "could be mounted. The cable is 40 mm too short.") {
		t.Errorf("got:\n%s", text)
	}
}

func TestMapText(t *testing.T) {
	f, _ := rankedBoard()
	text := textOf(t, func(b *bytes.Buffer) error { return NewMapAnswer(f).Text(b) })
	aligned(t, text, "station")
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{"Board, 2026-06-01: 16 stations, runs 1.", "horizontal 18.5 uT", "any any", "94 % lie inside", "Caution: The load", "can point anywhere"} {
		if !strings.Contains(flat, want) {
			t.Errorf("%q is missing in:\n%s", want, text)
		}
	}
}

func TestMapTextOfWhatWasNotMeasured(t *testing.T) {
	f := inventedFindings(board(300, 500, 100), nil, nil)
	f.Basis, f.LeftOut = findings.BasisMagnitude, nil
	text := textOf(t, func(b *bytes.Buffer) error { return NewMapAnswer(f).Text(b) })
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{"No load was measured: the shifting part is unknown", "No vectors of the steady part", "a weaker basis", "A1 100 -200 0 - - - - - -"} {
		if !strings.Contains(flat, want) {
			t.Errorf("%q is missing in:\n%s", want, text)
		}
	}
}
