package record

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"quietmount/report/answer"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/report/words"
	"quietmount/survey/balance"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
	"quietmount/survey/logbook"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
	"quietmount/survey/sources"
)

// sheetMaker gathers the content of a record sheet.
type sheetMaker struct {
	f       *evaluate.Findings
	ranking *rank.Ranking // nil: nothing could be ranked
	checks  []gate.Check
	rank    answer.Rank
	o       Options
	subject subject
	proof   *prove.Proof // at the subject's spot; nil: nothing was promised there
	sources *sources.Findings

	balanced *balance.Finding // with the module there; nil: not known
	failures []string         // what could not be worked out, in sentences
	pictures []namedPicture
}

// subject is the spot that a sheet is about: the chosen one, else the first of the
// ranking, else none.
type subject struct {
	spot   *rank.Spot // nil: none
	broken []string   // constraints that it breaks
	chosen bool
	lost   error // why a spot that was chosen could not be judged
}

// facts is a list of named values in the making.
type facts []sheet.Fact

// add appends a value formatted as by fmt.Sprintf.
func (f *facts) add(name, format string, args ...any) {
	*f = append(*f, sheet.Fact{Name: name, Value: fmt.Sprintf(format, args...)})
}

// newSheetMaker evaluates what the sheet reports besides the findings. What was not
// measured stays nil, and the sheet says so.
func newSheetMaker(ctx context.Context, f *evaluate.Findings, ranking *rank.Ranking, o Options) *sheetMaker {
	m := &sheetMaker{f: f, ranking: ranking, o: o}
	if ranking != nil {
		m.rank, m.checks = answer.NewRank(words.Terminal, f, ranking), ranking.Checks
	} else {
		m.checks = gate.Checks(ctx, f)
	}
	m.subject = m.findSubject(ctx)
	if s := m.subject.spot; s != nil {
		var err error
		m.proof, err = prove.Prove(ctx, f, rank.Mount{At: s.At, HeightMM: s.HeightMM})
		m.failed("The proof of the spot", err, rank.ErrNoMap)
		m.balanced, err = balance.Of(f.Craft, &s.At)
		m.failed("The balance", err, balance.ErrNoMasses)
	}
	var err error
	m.sources, err = sources.Find(ctx, f)
	m.failed("The sources of the field", err, sources.ErrNoVectors)
	return m
}

// failed keeps an error for the sheet to report, unless it is the usual one, which
// means that nobody measured it.
func (m *sheetMaker) failed(what string, err, usual error) {
	if err != nil && !errors.Is(err, usual) {
		m.failures = append(m.failures, fmt.Sprintf("%s could not be worked out: %v.", what, err))
	}
}

// draw draws the pictures of the sheet and of the folder.
func (m *sheetMaker) draw(ctx context.Context) (err error) {
	if m.pictures, err = recordPictures(ctx, m.f, m.ranking); err != nil {
		return fmt.Errorf("draw the record: %w", err)
	}
	return nil
}

// document returns the sheet; draw comes before it.
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

// typeset returns the sections that are not empty, with minus signs for hyphens and
// no line break between a number and its unit.
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

// polished returns a block with its words typeset.
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

// keptTogether prevents a line break between a number and its unit.
func keptTogether(s string) string { return strings.Join(say.Words(s), " ") }

// minusSigns replaces the hyphen of a negative number by a minus sign, but not those
// of dates, names, flags and time zones.
func minusSigns(s string) string {
	zone := func(i int) bool { return i+3 < len(s) && s[i+3] == ':' }
	digit := func(i int) bool { return i < len(s) && s[i] >= '0' && s[i] <= '9' }
	var b strings.Builder
	for i, r := range s {
		before, _ := utf8.DecodeLastRuneInString(s[:i])
		if r == '-' && digit(i+1) && !zone(i) && (i == 0 || strings.ContainsRune(" ([\u00a0", before)) {
			r = '−'
		}
		b.WriteRune(r)
	}
	return b.String()
}

// findSubject returns the spot that the sheet is about.
func (m *sheetMaker) findSubject(ctx context.Context) subject {
	var lost error
	if c := m.o.Choice; c != nil {
		s, broken, err := rank.SpotAt(ctx, m.f, rank.ChosenMount(c).Foot())
		if err == nil {
			s.Rank = c.Spot.Rank
			return subject{spot: s, broken: broken, chosen: true}
		}
		lost = err
	}
	if m.ranking == nil || len(m.ranking.Spots) == 0 {
		return subject{lost: lost}
	}
	return subject{spot: m.ranking.Foremost(), lost: lost}
}

// newest returns the time of the newest input. The sheet is dated by it and not by
// the clock, so that the same inputs give the same bytes.
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

// surveyRuns returns the runs of the survey and of the proofs.
func (m *sheetMaker) surveyRuns() []*logbook.Run {
	return append(append([]*logbook.Run{}, m.f.Runs...), m.f.Proofs...)
}

// allRuns returns the runs that the sheet is based on, with proofs and checks of the
// finished craft.
func (m *sheetMaker) allRuns() []*logbook.Run {
	out := m.surveyRuns()
	for _, s := range m.o.Checks {
		out = append(out, s.Run)
	}
	return out
}
