package answer

import (
	"fmt"
	"io"
	"math"
	"strings"

	"quietmount/report/say"
	"quietmount/report/text"
)

// Text says the same for a reader: the table, the coefficients, the card.
func (a Swing) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("swing by %s%s", a.Reference, a.UnderLoad())
	t := text.Table{Head: [][]string{{"heading", "compass", "deviation", "fitted"}}}
	for _, r := range a.Table {
		row := []string{HeadingWords(r.HeadingDeg), CompassWords(r.CompassDeg), EastWest(r.DeviationDeg), EastWest(r.FittedDeg)}
		t.Rows = append(t.Rows, row)
		if r.LeftOut {
			t.Rows = append(t.Rows, []string{text.Aside, "left out"})
		}
	}
	p.Table(t)
	p.Line("")
	a.coefficients(p)
	for _, r := range a.Reading {
		p.Sentence("  " + r)
	}
	if a.ResidualDeg != nil {
		p.Line("residuals %s degrees; so much or more by chance: p = %s", say.Shown(a.ResidualDeg, 2), say.Shown(a.ResidualP, 3))
	}
	a.card(p)
	a.before(p)
	if a.Promise != nil {
		p.Sentence(a.Promise.Why)
	}
	for _, why := range a.Why {
		p.Sentence("look: " + why)
	}
	p.Line("largest deviation %s degrees, at heading %s; limit %g; %s", say.Shown(a.MaxDeviationDeg, 1), HeadingWords(a.MaxAtDeg), a.LimitDeg,
		say.YesNo(a.Published.Within, "within", "over")+" the 10 degrees of 14 CFR 29.1327 (for comparison only)")
	p.Line("%s", say.YesNo(a.OK, "The compass is within the limit.", "The compass is not within the limit, or the swing cannot be trusted."))
	return p.Err()
}

// UnderLoad says which load was on, and is empty where none was.
func (a Swing) UnderLoad() string {
	if a.State == "" || a.State == "unpowered" {
		return ""
	}
	if a.CurrentA != nil {
		return fmt.Sprintf(", under load: %s at %g A", a.State, *a.CurrentA)
	}
	return ", under load: " + a.State
}

func (a Swing) coefficients(p *text.Printer) {
	c := a.Coefficients
	one := func(name string, v *swingCoefficient) string {
		if v == nil {
			return name + " not known"
		}
		return fmt.Sprintf("%s %+.2f +- %.2f", name, v.Estimate, v.SU)
	}
	p.Line("degrees, least squares: %s  %s  %s  %s  %s", one("A", c.A), one("B", c.B), one("C", c.C), one("D", c.D), one("E", c.E))
	if k := a.Classic; k != nil {
		p.Line("classic formulas:       A %+.2f  B %+.2f  C %+.2f  D %+.2f  E %+.2f", k.A, k.B, k.C, k.D, k.E)
	}
	if e := a.Exact; e.B != nil {
		head := "A not known"
		if e.A != nil {
			head = fmt.Sprintf("A %+.4f", e.A.Estimate)
		}
		p.Line("exact:                  %s  B %+.4f  C %+.4f  D %+.4f  E %+.4f", head, e.B.Estimate, e.C.Estimate, e.D.Estimate, e.E.Estimate)
	}
}

func (a Swing) card(p *text.Printer) {
	p.Line("")
	p.Line("Deviation card: for the magnetic heading above, steer the compass heading below")
	for half := range 2 {
		var z, c string
		for _, r := range a.Card[min(len(a.Card), half*6):min(len(a.Card), half*6+6)] {
			z += fmt.Sprintf("   %03.0f", r.HeadingDeg)
			c += fmt.Sprintf("   %03.0f", math.Mod(math.Round(r.CompassDeg), 360))
		}
		p.Line("  magnetic %s", z)
		p.Line("  compass  %s", c)
	}
}

func (a Swing) before(p *text.Printer) {
	b := a.Before
	if b == nil {
		return
	}
	p.Line("")
	p.Line("against swing %d, whose largest deviation was %s degrees:", b.Swing, say.Shown(b.MaxDeviationDeg, 1))
	for _, c := range b.Changes {
		p.Line("  %s changed by %s +- %s degrees (p = %s)", c.Coefficient, say.Shown(c.ChangeDeg, 2), say.Shown(c.SU, 2), say.Shown(c.PValue, 3))
	}
	t := text.Table{Head: [][]string{{"heading", fmt.Sprintf("swing %d", b.Swing), "now", "change"}}}
	for _, r := range b.Table {
		t.Rows = append(t.Rows, []string{HeadingWords(&r.HeadingDeg), EastWest(r.BeforeDeg), EastWest(r.NowDeg), EastWest(r.ChangeDeg)})
	}
	p.Table(t)
	p.Line("  %s", say.YesNo(b.Changed, "That is more than chance.", "That may well be chance."))
}

// HeadingWords returns a heading to a whole degree, 000 to 359.
func HeadingWords(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%03.0f", math.Mod(math.Round(*v), 360))
}

// CompassWords returns a heading in degrees to a tenth, 0.0 to 359.9.
func CompassWords(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f", math.Mod(math.Round(10**v)/10, 360))
}

// EastWest returns a deviation in degrees with its side, east or west.
func EastWest(v *float64) string {
	if v == nil {
		return "-"
	}
	side := "E"
	if *v < 0 {
		side = "W"
	}
	return fmt.Sprintf("%.1f %s", math.Abs(*v), side)
}

// CoefficientWords are the coefficients in one line.
func (a Swing) CoefficientWords() string {
	c := a.Coefficients
	var words []string
	for _, k := range []struct {
		name string
		v    *swingCoefficient
	}{{"A", c.A}, {"B", c.B}, {"C", c.C}, {"D", c.D}, {"E", c.E}} {
		if k.v == nil {
			words = append(words, k.name+" not known")
			continue
		}
		words = append(words, fmt.Sprintf("%s %s ± %.1f", k.name, say.Signed(k.v.Estimate), k.v.SU))
	}
	return strings.Join(words, ", ")
}
