package picture

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"quietmount/magmath/swing"
	"quietmount/report/answer"
	"quietmount/report/draw"
	"quietmount/report/internal/example"
)

// The half of the 95 % interval is the scatter times the 0.975 quantile of
// Student's t: 3.1824 for three degrees of freedom, 12.706 for one. Source: NIST
// SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2.
func TestCardErrorBars(t *testing.T) {
	for _, c := range []struct {
		residual, freedom *float64
		want              float64
	}{{new(0.5), new(3.), 1.5912}, {new(2.), new(1.), 25.412}, {nil, new(0.), 0}, {new(1.), new(0.), 0}} {
		d := cardDrawing{a: answer.Swing{ResidualDeg: c.residual, Freedom: c.freedom}}
		if got := d.half(); math.Abs(got-c.want) > 1e-3 {
			t.Errorf("half an interval of %g degrees, want %g", got, c.want)
		}
	}
}

// The bars are inside the area of the curve and explained.
func TestCardSaysWhatTheBarsAre(t *testing.T) {
	a := answer.NewSwing(answer.SwingInput{Swing: example.HandbookSwing(t, swing.Options{}), LimitDeg: 5, Reference: "marks"})
	d := cardDrawing{a: a}
	if d.reach() < *a.MaxDeviationDeg+d.half() {
		t.Errorf("the curve's field reaches to %g degrees; %g and a bar of %g", d.reach(), *a.MaxDeviationDeg, d.half())
	}
	p := DeviationCard("Sandpiper", a)
	keep(t, "card.png", p)
	if s := string(written(t, p, draw.SVG)); !strings.Contains(s, "the 95 % interval of one heading") {
		t.Error("the bars are not explained")
	}
}

func TestDeviationCard(t *testing.T) {
	a := answer.NewSwing(answer.SwingInput{Swing: example.HandbookSwing(t, swing.Options{}), LimitDeg: 5, Reference: "marks"})
	pic := DeviationCard("Sandpiper", a)
	want := []string{"for 000 steer 353", "for 030 steer 015", "for 060 steer 040", "for 180 steer 186", "deviations to 30 degrees, 8 headings, bars of 0.20 degrees"}
	for _, w := range want {
		if !slices.Contains(pic.Layout(), w) {
			t.Errorf("%q is not in %q", w, pic.Layout())
		}
	}
	for _, f := range []draw.Format{draw.PNG, draw.SVG, draw.PDF} {
		var one, two bytes.Buffer
		if err := pic.Write(&one, f); err != nil {
			t.Fatal(err)
		}
		if err := DeviationCard("Sandpiper", a).Write(&two, f); err != nil {
			t.Fatal(err)
		}
		if one.Len() < 1000 || !bytes.Equal(one.Bytes(), two.Bytes()) {
			t.Errorf("%s: %d bytes, the same again: %v", f, one.Len(), bytes.Equal(one.Bytes(), two.Bytes()))
		}
	}
	img, err := pic.Pixels(72)
	if err != nil || img.Bounds().Dx() != cardWide || img.Bounds().Dy() != cardHigh {
		t.Errorf("%v, %v", img.Bounds(), err)
	}
	// Nothing was taken, or a name of any length: no panic, no blank.
	for _, name := range []string{"", strings.Repeat("very long ", 30)} {
		var b bytes.Buffer
		if err := DeviationCard(name, answer.Swing{}).Write(&b, draw.SVG); err != nil || b.Len() == 0 {
			t.Errorf("%q: %v", name, err)
		}
	}
}
