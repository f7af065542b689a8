package report

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Text says the same for a reader: the table, the coefficients, the card.
func (a SwingAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	p.line("swing by %s%s", a.Reference, a.underLoad())
	t := table{head: [][]string{{"heading", "compass", "deviation", "fitted"}}}
	for _, r := range a.Table {
		row := []string{heading3(r.HeadingDeg), compass1(r.CompassDeg), eastWest(r.DeviationDeg), eastWest(r.FittedDeg)}
		t.rows = append(t.rows, row)
		if r.LeftOut {
			t.rows = append(t.rows, []string{aside, "left out"})
		}
	}
	for _, l := range t.lines() {
		p.line("%s", l)
	}
	p.line("")
	a.coefficients(p)
	for _, r := range a.Reading {
		p.sentence("  " + r)
	}
	if a.ResidualDeg != nil {
		p.line("residuals %s degrees; so much or more by chance: p = %s", shown(a.ResidualDeg, 2), shown(a.ResidualP, 3))
	}
	a.card(p)
	a.before(p)
	if a.Promise != nil {
		p.sentence(a.Promise.Why)
	}
	for _, why := range a.Why {
		p.sentence("look: " + why)
	}
	p.line("largest deviation %s degrees, at heading %s; limit %g; %s", shown(a.MaxDeviationDeg, 1), heading3(a.MaxAtDeg), a.LimitDeg,
		yesNo(a.Published.Within, "within", "over")+" the 10 degrees of 14 CFR 29.1327 (for comparison only)")
	p.line("%s", yesNo(a.OK, "The compass is within the limit.", "The compass is not within the limit, or the swing cannot be trusted."))
	return p.failed()
}

func (a SwingAnswer) underLoad() string {
	if a.State == "" || a.State == "unpowered" {
		return ""
	}
	if a.CurrentA != nil {
		return fmt.Sprintf(", under load: %s at %g A", a.State, *a.CurrentA)
	}
	return ", under load: " + a.State
}

func (a SwingAnswer) coefficients(p *printer) {
	c := a.Coefficients
	one := func(name string, v *swingCoefficient) string {
		if v == nil {
			return name + " not known"
		}
		return fmt.Sprintf("%s %+.2f +- %.2f", name, v.Estimate, v.SU)
	}
	p.line("degrees, least squares: %s  %s  %s  %s  %s", one("A", c.A), one("B", c.B), one("C", c.C), one("D", c.D), one("E", c.E))
	if k := a.Classic; k != nil {
		p.line("classic formulas:       A %+.2f  B %+.2f  C %+.2f  D %+.2f  E %+.2f", k.A, k.B, k.C, k.D, k.E)
	}
	if e := a.Exact; e.B != nil {
		head := "A not known"
		if e.A != nil {
			head = fmt.Sprintf("A %+.4f", e.A.Estimate)
		}
		p.line("exact:                  %s  B %+.4f  C %+.4f  D %+.4f  E %+.4f", head, e.B.Estimate, e.C.Estimate, e.D.Estimate, e.E.Estimate)
	}
}

func (a SwingAnswer) card(p *printer) {
	p.line("")
	p.line("Deviation card: for the magnetic heading above, steer the compass heading below")
	for half := range 2 {
		var z, c string
		for _, r := range a.Card[min(len(a.Card), half*6):min(len(a.Card), half*6+6)] {
			z += fmt.Sprintf("   %03.0f", r.HeadingDeg)
			c += fmt.Sprintf("   %03.0f", math.Mod(math.Round(r.CompassDeg), 360))
		}
		p.line("  magnetic %s", z)
		p.line("  compass  %s", c)
	}
}

func (a SwingAnswer) before(p *printer) {
	b := a.Before
	if b == nil {
		return
	}
	p.line("")
	p.line("against swing %d, whose largest deviation was %s degrees:", b.Swing, shown(b.MaxDeviationDeg, 1))
	for _, c := range b.Changes {
		p.line("  %s changed by %s +- %s degrees (p = %s)", c.Coefficient, shown(c.ChangeDeg, 2), shown(c.SU, 2), shown(c.PValue, 3))
	}
	t := table{head: [][]string{{"heading", fmt.Sprintf("swing %d", b.Swing), "now", "change"}}}
	for _, r := range b.Table {
		t.rows = append(t.rows, []string{heading3(&r.HeadingDeg), eastWest(r.BeforeDeg), eastWest(r.NowDeg), eastWest(r.ChangeDeg)})
	}
	for _, l := range t.lines() {
		p.line("%s", l)
	}
	p.line("  %s", yesNo(b.Changed, "That is more than chance.", "That may well be chance."))
}

func heading3(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%03.0f", math.Mod(math.Round(*v), 360))
}

// compass1 is a heading to a tenth, 000.0 to 359.9.
func compass1(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f", math.Mod(math.Round(10**v)/10, 360))
}

// eastWest is a deviation with its name.
func eastWest(v *float64) string {
	if v == nil {
		return "-"
	}
	side := "E"
	if *v < 0 {
		side = "W"
	}
	return fmt.Sprintf("%.1f %s", math.Abs(*v), side)
}

// coefficientWords are the coefficients in one line.
func (a SwingAnswer) coefficientWords() string {
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
		words = append(words, fmt.Sprintf("%s %s ± %.1f", k.name, signed(k.v.Estimate), k.v.SU))
	}
	return strings.Join(words, ", ")
}
