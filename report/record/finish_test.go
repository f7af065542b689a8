package record

import (
	"bytes"
	"strings"
	"testing"

	"quietmount/magmath/arrow"
	"quietmount/magmath/swing"
	"quietmount/report/answer"
	"quietmount/report/internal/example"
	"quietmount/report/say"
)

func TestSheetHoldsArrowAndSwing(t *testing.T) {
	f, r := example.RankedBoard()
	arrow := answer.NewArrow(answer.ArrowInput{LimitDeg: 5, Arrow: arrow.Result{ArrowPoints: arrow.ToTail, LabelFaces: arrow.ToUp, TwistDeg: 1.5, TwistStandardDeg: 0.7, Agree: true}})
	swing := answer.NewSwing(answer.SwingInput{Swing: example.HandbookSwing(t, swing.Options{}), LimitDeg: 5, Reference: "marks <b>"})
	o := Options{Arrow: &arrow, Swing: &swing}
	files, err := Files(t.Context(), f, r, o)
	if err != nil {
		t.Fatal(err)
	}
	names := map[string][]byte{}
	for _, x := range files {
		names[x.Name] = x.Data
	}
	for _, want := range []string{"arrow.json", "swing.json", "deviation-card.png", "deviation-card.svg", "deviation-card.pdf"} {
		if len(names[want]) == 0 {
			t.Errorf("no %s", want)
		}
	}
	page := strings.ReplaceAll(string(names["sheet.html"]), string(say.NoBreak), " ")
	for _, want := range []string{"The arrow is not right.", "to the tail", "twisted by 1.5 ± 0.7", "Largest deviation 20.0 degrees at heading 065", "14 CFR 29.1327", "marks &lt;b&gt;", "20.0 E", "B +11.9 ± 0.4"} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is not in the sheet", want)
		}
	}
	if plain := htmlOf(t, f, r, Options{}); bytes.Contains(plain, []byte("<h2>The finished craft</h2>")) {
		t.Error("a section without content")
	}
}
