package words_test

import (
	"fmt"
	"strings"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/report/words"
	"quietmount/survey/link"
)

// What a guess rests on and what would settle it reads on in one sentence; the
// page names no flag.
func TestGuessInWords(t *testing.T) {
	g := link.Guess{
		Shape: "6 numbers a line", Columns: "x,y,z,-,-,-", Unit: "milligauss", ScaleUT: 0.1, Confidence: 0.55,
		Why: []remark.Remark{remark.New("link.guess-six"), remark.New("link.guess-range", remark.Values{"magnitude": 481.2, "unit": "milligauss"})},
		Settle: []remark.Remark{
			remark.New("link.settle-columns", remark.Values{"columns": []string{"ax,ay,az,x,y,z", "x,y,z,-,-,-"}}),
			remark.New("link.settle-scale", remark.Values{"scale_ut": 0.1, "unit": "milligauss", "counts": true, "undisturbed_scale_ut": 0.0}),
		},
	}
	why := "six numbers may be acceleration and field or acceleration and rotation; the magnitude 481.2 would be a usual field in milligauss"
	settle := "--columns ax,ay,az,x,y,z or --columns x,y,z,-,-,- and --scale 0.1 (milligauss) or the sensor's own scale"
	if got, want := words.Terminal.Say(g.Remark()), "6 numbers a line, x,y,z,-,-,-, in milligauss (0.1 uT a unit), 55 % sure: "+why+"; "+settle+" settles it"; got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	err := fmt.Errorf("replay x: %w", &link.UndecidedError{Guess: g})
	if got, want := words.Hint(words.Terminal, err), why+"; use "+settle; got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	if got := words.Hint(words.Page, err); !strings.HasPrefix(got, why+"; state the columns (ax,ay,az,x,y,z or x,y,z,-,-,-) when") || strings.Contains(got, "--") {
		t.Errorf("the page says %q", got)
	}
}

func TestPortHints(t *testing.T) {
	for _, c := range []struct {
		e              link.OpenError
		terminal, page string
	}{
		{link.OpenError{Reason: link.Denied, Group: "dialout"}, "sudo usermod -aG dialout $USER", "must be in the group dialout"},
		{link.OpenError{Reason: link.NotFound}, "quietmount ports", "step Link"},
		{link.OpenError{Reason: link.BadBaud}, "115200", "115200"},
		{link.OpenError{Reason: link.Failed}, "", ""},
	} {
		for face, want := range map[words.Face]string{words.Terminal: c.terminal, words.Page: c.page} {
			if got := words.Hint(face, &c.e); !strings.Contains(got, want) || want == "" && got != "" {
				t.Errorf("%s: %q, want %q", c.e.Reason, got, want)
			}
		}
	}
}
