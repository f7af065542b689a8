package answer

import (
	"fmt"
	"io"
	"math"

	"quietmount/magmath/source"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/survey"
)

// Text prints a table of the sources and a sentence on each.
func (a Sources) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Sentence(fmt.Sprintf("%s, %s: what the disturbances point to.", say.Named(a.Craft), a.Date))
	p.Line("")
	t := a.table()
	if len(t.Rows) > 0 {
		p.Table(t)
		p.Line("")
	}
	for i, s := range a.States {
		a.SayState(p, s)
		if i < len(a.States)-1 {
			p.Line("")
		}
	}
	if len(a.Sources) > 0 {
		p.Sentence("Keep-away distances are for the worst orientation: under the builder's limit (steady limit for magnets, heading budget for loads), and under the published 94 nT of a standard and 314 nT of a reduced compass-safe distance. They are upper bounds that hold with 95 %.")
	}
	a.Cautions.print(p)
	return p.Err()
}

func (a Sources) table() text.Table {
	t := text.Table{Head: [][]string{
		{"", "", "", "", "", "", "", "keep", "away", "mm"},
		{"source", "share", "x", "y", "z", "+-", "strength", "limit", "94 nT", "314 nT"},
		{"", "%", "mm", "mm", "mm", "mm", "", "", "", ""},
	}}
	for _, s := range a.States {
		first := true
		for _, c := range a.Sources {
			if c.State != s.State {
				continue
			}
			if first {
				t.Rows = append(t.Rows, []string{text.Aside, StateWords(s.State) + ":"})
				first = false
			}
			t.Rows = append(t.Rows, c.Row())
		}
	}
	return t
}

// Row returns the source as a row of cells.
func (s Source) Row() []string {
	name, strength, off := s.Name(), "", spread(s.AtSD)
	switch {
	case s.Moment != nil:
		strength = fmt.Sprintf("%.3g A m2", s.size())
	case s.Current != nil:
		strength = fmt.Sprintf("%.3g A", *s.Current)
	}
	return []string{name, fmt.Sprintf("%.0f", 100*s.Share), plainWhole(s.At[0]), plainWhole(s.At[1]), plainWhole(s.At[2]),
		off, strength, Whole(s.Upper.Budget), Whole(s.Upper.Standard), Whole(s.Upper.Reduced)}
}

// Name returns the name of the part, or the kind of the source if it is no
// named part.
func (s Source) Name() string {
	switch {
	case s.Part != nil:
		return *s.Part
	case s.Moment == nil:
		return "unnamed lead"
	}
	return "unnamed"
}

// spread returns the root mean square of three standard uncertainties, in whole
// millimetres.
func spread(sd Vec) string {
	v := math.Sqrt((sd[0]*sd[0] + sd[1]*sd[1] + sd[2]*sd[2]) / 3)
	if v < 0.5 {
		return "<1"
	}
	return fmt.Sprintf("%.0f", v)
}

// size returns the magnitude of the moment.
func (s Source) size() float64 {
	if s.Moment == nil {
		return math.NaN()
	}
	return math.Sqrt(s.Moment[0]*s.Moment[0] + s.Moment[1]*s.Moment[1] + s.Moment[2]*s.Moment[2])
}

// StateWords returns the part of the field that a state shows.
func StateWords(state string) string {
	if state == survey.StateUnpowered {
		return "the steady part"
	}
	return fmt.Sprintf("the load %q", state)
}

// SayState gives to p what explains a state, sentence by sentence.
func (a Sources) SayState(p text.Sayer, s StateSources) {
	what := StateWords(s.State)
	if s.Quiet {
		p.Sentence(say.Capital(what) + fmt.Sprintf(": nothing beyond the noise of %s; there is nothing to explain.", say.Counted(s.Stations, "station")))
	}
	n := 0
	for _, c := range a.Sources {
		if c.State != s.State {
			continue
		}
		n++
		p.Sentence(c.words(n, what))
	}
	if n == 0 && !s.Quiet {
		p.Sentence(say.Capital(what) + ": no source was found that explains it.")
	}
	for _, c := range a.Nothing {
		if c.State == s.State {
			p.Sentence(fmt.Sprintf("The %s explains nothing of it (p = %.2g).", c.Part, c.P))
		}
	}
	for _, pair := range s.Alike {
		p.Sentence(fmt.Sprintf("%s and %s cannot be told apart from these stations: only what they do together is known.", say.Capital(a.title(pair[0])), a.title(pair[1])))
	}
	if !s.Quiet {
		p.Sentence(fmt.Sprintf("Of %s %.0f %% is left unexplained.", what, 100*s.Unexplained))
	}
}

func (a Sources) title(i int) string {
	if i < 0 || i >= len(a.Sources) {
		return "a source"
	}
	if c := a.Sources[i]; c.Part != nil {
		return "the " + *c.Part
	}
	if a.Sources[i].Moment == nil {
		return "the unnamed lead " + a.Sources[i].Where
	}
	return "the unnamed source " + a.Sources[i].Where
}

// words returns a sentence on a source.
func (s Source) words(n int, what string) string {
	share := fmt.Sprintf("%.0f %% of %s", 100*s.Share, what)
	if n > 1 {
		share = fmt.Sprintf("%.0f %%", 100*s.Share)
	}
	if s.Part != nil {
		return fmt.Sprintf("The %s explains %s%s.", *s.Part, share, s.details())
	}
	order := []string{"An", "A second", "A third", "A fourth", "A fifth"}
	lead := "Another"
	if n <= len(order) {
		lead = order[n-1]
	}
	if n > 1 && n <= len(order) {
		lead += ","
	}
	if s.Moment == nil {
		return fmt.Sprintf("%s unnamed lead runs from %s to %s and explains %s%s.", lead, s.end(0), s.end(len(s.Path)-1), share, s.details())
	}
	out := fmt.Sprintf("%s unnamed source sits %s and explains %s", lead, s.Where, share)
	if s.Probably != nil {
		out += fmt.Sprintf("; probably the %s itself", *s.Probably)
	}
	return out + fmt.Sprintf(" (as strong as a cube of N42 of %.1f mm).", cubeMM(s.size()))
}

// details returns what else is known of a source besides its share.
func (s Source) details() string {
	var out string
	switch {
	case s.Current != nil && s.Gap != nil:
		out = fmt.Sprintf(": a pair of %.3g A, %.1f mm apart", *s.Current, *s.Gap)
	case s.Current != nil:
		out = fmt.Sprintf(": a circuit of %.3g A", *s.Current)
	}
	if s.Stray != nil && *s.Stray > say.HereMM {
		out += fmt.Sprintf("; its field comes from %.0f mm off its stated place", *s.Stray)
	}
	return out
}

// end returns a point of a lead's path in words.
func (s Source) end(i int) string {
	if i < 0 || i >= len(s.Path) {
		return "?"
	}
	return fmt.Sprintf("x %s, y %s, z %s mm", plainWhole(s.Path[i][0]), plainWhole(s.Path[i][1]), plainWhole(s.Path[i][2]))
}

// cubeMM returns the edge of a neodymium cube of that moment, mm.
func cubeMM(momentAm2 float64) float64 {
	br, _, err := source.Grade("N42")
	if err != nil {
		return math.NaN()
	}
	return math.Cbrt(momentAm2 / source.Moment(br, 1))
}

// plainWhole rounds to a whole number and never prints a zero with a sign.
func plainWhole(v float64) string { return fmt.Sprintf("%.0f", math.Round(v)+0) }

// Said returns what Text prints of a state, sentence by sentence.
func (a Sources) Said(state string) []string {
	var out text.Sentences
	for _, s := range a.States {
		if s.State == state {
			a.SayState(&out, s)
		}
	}
	return out
}

// Title returns the state in words: the steady part, the load "left motor".
func (s StateSources) Title() string { return say.Capital(StateWords(s.State)) }

// Strength returns the moment or the current, with its unit.
func (s Source) Strength() string {
	switch {
	case s.Moment != nil:
		return fmt.Sprintf("%.3g A m²", s.size())
	case s.Current != nil:
		return fmt.Sprintf("%.3g A", *s.Current)
	}
	return ""
}

// Off returns the standard uncertainty of the place in whole millimetres, as
// text.
func (s Source) Off() string { return spread(s.AtSD) }
