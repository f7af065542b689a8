package record

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"quietmount/report/answer"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// sheetMaker gathers what a record sheet says.
type sheetMaker struct {
	f       *findings.Findings
	ranking *findings.Ranking // nil: nothing could be ranked
	rank    answer.Rank
	o       Options
	subject subject
	proof   *findings.Proof // at the subject's spot; nil: nothing was promised there
	sources *findings.SourceFindings

	balanced *findings.BalanceFinding // with the module there; nil: not known
	pictures []namedPicture
}

// subject is the spot that a sheet is about: the chosen one, else the first of
// the ranking; nil where there is neither.
type subject struct {
	spot   *findings.Spot
	broken []string // constraints that it breaks
	chosen bool
	lost   error // why a spot that was chosen could not be judged
}

// Sheet is the record sheet as a document; see sheet.HTML and sheet.PDF. The
// ranking may be nil where nothing could be ranked.
func Sheet(f *findings.Findings, ranking *findings.Ranking, o Options) (sheet.Document, error) {
	m := newSheetMaker(f, ranking, o)
	if err := m.draw(); err != nil {
		return sheet.Document{}, err
	}
	return m.document(), nil
}

// newSheetMaker finds what the sheet is about. What cannot be found out of what
// was measured stays nil, and the sheet says so.
func newSheetMaker(f *findings.Findings, ranking *findings.Ranking, o Options) *sheetMaker {
	m := &sheetMaker{f: f, ranking: ranking, o: o}
	if ranking != nil {
		m.rank = answer.NewRank(f, ranking)
	}
	m.subject = m.findSubject()
	if s := m.subject.spot; s != nil {
		m.proof, _ = f.Prove(findings.Place{At: s.At, HeightMM: s.HeightMM})
		m.balanced, _ = findings.BalanceOf(f.Craft, &s.At)
	}
	m.sources, _ = f.Sources()
	return m
}

// draw draws the pictures, for the sheet and for the folder beside it.
func (m *sheetMaker) draw() (err error) {
	if m.pictures, err = recordPictures(m.f, m.ranking); err != nil {
		return fmt.Errorf("draw the record: %w", err)
	}
	return nil
}

func (m *sheetMaker) document() sheet.Document {
	f, o := m.f, m.o
	stamp := m.stamp()
	d := sheet.Document{
		Title: say.Named(f.Craft.Name), Subtitle: "Record sheet: where the GPS/compass module is disturbed least. Survey of " + f.Date + ".",
		Foot: fmt.Sprintf("%s, survey of %s, inputs %.12s", say.Named(f.Craft.Name), f.Date, stamp.digest), Tool: o.Tool, Dated: m.newest(), Paper: o.Paper,
	}
	d.Sections = typeset(
		m.answer(), m.chosen(), m.spots(), m.weak(), m.maps(), m.proved(), m.causes(), m.balance(), m.finish(), m.identity(), m.signatures(),
		m.conditions(), m.calibrations(), m.runs(), m.leftOut(), m.methods(), m.uncertainties(), m.validity(), m.cautions(), m.stations(), stamp.section(),
	)
	return d
}

// typeset are the sections that say anything, with minus signs for hyphens and
// units that stay with their numbers.
func typeset(all ...sheet.Section) []sheet.Section {
	var out []sheet.Section
	for _, s := range all {
		if len(s.Blocks) == 0 {
			continue
		}
		for i, b := range s.Blocks {
			s.Blocks[i] = polished(b)
		}
		out = append(out, s)
	}
	return out
}

func polished(b sheet.Block) sheet.Block {
	switch b := b.(type) {
	case sheet.Verdict:
		b.Sentence = keptTogether(b.Sentence)
		return b
	case sheet.Text:
		b.Body = minusSigns(keptTogether(b.Body))
		return b
	case sheet.List:
		for i, s := range b.Items {
			b.Items[i] = minusSigns(keptTogether(s))
		}
	case sheet.Facts:
		for i, r := range b.Rows {
			b.Rows[i].Value = minusSigns(keptTogether(r.Value))
		}
	}
	return b
}

// keptTogether does not break a line between a number and its unit.
func keptTogether(s string) string { return strings.Join(say.Words(s), " ") }

// minusSigns sets the hyphen of a negative number as a minus sign; those of
// dates, names, flags and zones of time stay.
func minusSigns(s string) string {
	zone := func(i int) bool { return i+3 < len(s) && s[i+3] == ':' }
	digit := func(i int) bool { return i < len(s) && s[i] >= '0' && s[i] <= '9' }
	var b strings.Builder
	for i, r := range s {
		if r == '-' && digit(i+1) && !zone(i) && (i == 0 || strings.ContainsRune(" ([\u00a0", lastRune(s[:i]))) {
			r = '−'
		}
		b.WriteRune(r)
	}
	return b.String()
}

func lastRune(s string) rune {
	r, _ := utf8.DecodeLastRuneInString(s)
	return r
}

func (m *sheetMaker) findSubject() subject {
	var lost error
	if c := m.o.Choice; c != nil {
		s, broken, err := m.f.SpotAt(findings.ChosenPlace(c).Foot())
		if err == nil {
			s.Rank = c.Spot.Rank
			return subject{spot: s, broken: broken, chosen: true}
		}
		lost = err
	}
	if m.ranking == nil || len(m.ranking.Spots) == 0 {
		return subject{lost: lost}
	}
	return subject{spot: &m.ranking.Spots[0], lost: lost}
}

// newest is the time of the newest thing that the sheet rests on: it stands in
// the clock's stead, so that the same inputs give the same bytes.
func (m *sheetMaker) newest() time.Time {
	var newest time.Time
	later := func(t time.Time) {
		if t.After(newest) {
			newest = t
		}
	}
	for _, r := range m.allRuns() {
		later(r.Header.Started)
		for _, c := range r.Captures {
			later(c.Time)
		}
	}
	for _, c := range m.o.Calibrations {
		later(c.Created)
	}
	if c := m.o.Choice; c != nil {
		later(c.Chosen)
	}
	return newest
}

// surveyRuns are the runs of the survey and the proofs.
func (m *sheetMaker) surveyRuns() []*survey.Run {
	return append(append([]*survey.Run{}, m.f.Runs...), m.f.Proofs...)
}

// allRuns are the runs that the sheet rests on, proofs and checks of the
// finished craft among them.
func (m *sheetMaker) allRuns() []*survey.Run {
	out := m.surveyRuns()
	for _, s := range m.o.Checks {
		out = append(out, s.Run)
	}
	return out
}
