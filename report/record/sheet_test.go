package record

import (
	"bytes"
	"encoding/xml"
	"errors"
	"html"
	"io"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"quietmount/magmath/remark"
	"quietmount/report/answer"
	"quietmount/report/internal/example"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/survey/balance"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
	"quietmount/survey/sources"
	"quietmount/survey/verify"
)

func sheetOptions() Options {
	return Options{
		Inputs:   []Input{{Name: "runs/0001-background.jsonl", SHA256: strings.Repeat("ab", 32), Lines: 9}, {Name: "craft.toml", SHA256: strings.Repeat("01", 32), Lines: 80}},
		Problems: []answer.Problem{{Severity: verify.SeverityWarning, File: "notes.txt", Coded: answer.Coded{Text: "this is no file of ours"}}},
		Tool:     "0.1", Command: "quietmount record",
	}
}

// sheetOf returns the sheet of a survey with voids, refusals and a hostile name, made
// once for all tests.
func sheetOf(t *testing.T) string {
	t.Helper()
	sheetOnce.Do(func() { sheetMade = makeSheet(t) })
	return sheetMade
}

var (
	sheetOnce sync.Once
	sheetMade string
)

func makeSheet(t *testing.T) string {
	t.Helper()
	f, r := example.RankedBoard()
	f.Craft.Name = `Board <script>alert(1)</script> & "co"`
	f.Runs[0].Captures = []logbook.Capture{{Number: 1, Station: "A1", Time: time.Date(2026, 6, 2, 9, 30, 0, 0, time.FixedZone("", 3600))}, {Number: 2, Station: "B1", Void: "set down askew"}}
	f.Runs[0].Notes = []logbook.Note{
		{Kind: logbook.NoteRejected, Station: "C1", Text: "the probe moved"},
		{Kind: logbook.NoteSkipped, Station: "D1", Text: "<b>out of reach</b>"},
		{Kind: logbook.NoteText, Text: "windows shut"},
	}
	f.Runs[0].Header.Confirmed = []string{"the craft is tied down.", "propellers are off."}
	again := f.Craft.Loads[0]
	again.Name = "Motor"
	f.Craft.Loads = append(f.Craft.Loads, again)
	f.Loads = []evaluate.LoadFinding{{Name: "motor", Measured: true, CurrentA: 6.7, Factor: 1.5, Pulsed: true, Stations: 15}, {Name: "rudder"}}
	return string(htmlOf(t, f, r, sheetOptions()))
}

func documentOf(t testing.TB, f *evaluate.Findings, r *rank.Ranking, o Options) sheet.Document {
	t.Helper()
	m := newSheetMaker(t.Context(), f, r, o)
	if err := m.draw(t.Context()); err != nil {
		t.Fatal(err)
	}
	return m.document()
}

func htmlOf(t testing.TB, f *evaluate.Findings, r *rank.Ranking, o Options) []byte {
	t.Helper()
	data, err := sheet.HTML(documentOf(t, f, r, o))
	if err != nil {
		t.Fatal(err)
	}
	return bytes.ReplaceAll(data, []byte(string(say.NoBreak)), []byte(" "))
}

func TestSheetSaysWhatItMust(t *testing.T) {
	s := sheetOf(t)
	words := html.UnescapeString(s)
	for _, want := range []string{
		"Within the budget", "stays under 1.6 degrees of the 5 allowed", "Not proved",
		"set down askew", "the probe moved", "&lt;b&gt;out of reach&lt;/b&gt;", "this is no file of ours",
		strings.Repeat("ab", 32), "quietmount record", "2026-06-02 09:30:00 +01:00", "quietmount 0.1",
		"no substitute for certified compass adjustment", "satellite reception", "propellers off",
		"Confirmed before run 1: the craft is tied down; propellers are off.", "2 cautions confirmed",
		"6.7 A", "pulsed with the probe at rest", "scaled up by 1.50", "not measured",
		"@page { size: A4", "prefers-color-scheme: dark",
	} {
		if !strings.Contains(s, want) && !strings.Contains(words, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(s, "windows shut") {
		t.Error("an operator's remark is listed among what was left out")
	}
	if n := strings.Count(s, "<svg "); n != 3 {
		t.Errorf("%d maps, want shifting, steady and the standard error", n)
	}
}

// The sheet has no scripts and no external resources, and text of a craft file
// never becomes markup.
func TestSheetStandsAlone(t *testing.T) {
	s := sheetOf(t)
	if strings.Contains(strings.ToLower(s), "<script") || strings.Contains(s, "<b>out") {
		t.Error("a name became markup")
	}
	for _, m := range regexp.MustCompile(`(?:href|src)="([^"]{0,40})`).FindAllStringSubmatch(s, -1) {
		if !strings.HasPrefix(m[1], "data:image/png;base64,") {
			t.Errorf("refers to %q", m[1])
		}
	}
	if strings.Contains(s, "url(") || strings.Contains(s, "@import") {
		t.Error("the style loads something")
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllStringSubmatch(s, -1) {
		if ids[m[1]] {
			t.Errorf("id %s twice", m[1])
		}
		ids[m[1]] = true
	}
	if len(ids) != 6 {
		t.Errorf("%d ids, want a title and a description for each map", len(ids))
	}
	d := xml.NewDecoder(strings.NewReader(s))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("tags do not match: %v", err)
		}
	}
}

func TestSheetIsRepeatable(t *testing.T) {
	if sheetOf(t) != makeSheet(t) {
		t.Error("two sheets of the same input differ")
	}
}

// The digest depends on each input but not on their order.
func TestStampOfInputs(t *testing.T) {
	f, _ := example.RankedBoard()
	o := sheetOptions()
	digest := func() string { return (&sheetMaker{f: f, o: o}).stamp().digest }
	a := digest()
	o.Inputs[0], o.Inputs[1] = o.Inputs[1], o.Inputs[0]
	if b := digest(); a != b {
		t.Error("the order of the inputs changes the digest")
	}
	o.Inputs[0].SHA256 = strings.Repeat("02", 32)
	if b := digest(); a == b {
		t.Error("another input has the same digest")
	}
}

// The sheet states that little is known and does not fail.
func TestSheetOfLittle(t *testing.T) {
	c := example.Board(300, 500, 100)
	bare := example.Findings(c, nil, nil)
	bare.Map, bare.LeftOut, bare.Basis = nil, nil, evaluate.BasisMagnitude
	data := htmlOf(t, bare, nil, Options{})
	for _, want := range []string{"Nothing could be ranked", "Nothing was measured that could be drawn", "Nothing: no capture was voided", "No background was measured", "names no load"} {
		if !bytes.Contains(data, []byte(want)) {
			t.Errorf("%q is missing", want)
		}
	}
	f, r := example.RankedBoard()
	r.Qualified, r.Why = false, []remark.Remark{remark.New("rank.relax_height", remark.Values{"by_mm": 40., "height_mm": 40., "buys": []remark.Remark{remark.New("rank.buys_within_budget")}})}
	data = htmlOf(t, f, r, sheetOptions())
	if !bytes.Contains(data, []byte("No spot qualifies. 40 mm more height")) || !bytes.Contains(data, []byte(`class="verdict no"`)) {
		t.Error("the refusal is not shown")
	}
}

// A failed proof makes the headline in spite of the map; without it the same spot is
// within the budget.
func TestSheetSaysThatTheProofFailed(t *testing.T) {
	f, r := example.RankedBoard()
	m := newSheetMaker(t.Context(), f, r, sheetOptions())
	if got := m.verdict().Word; got != "Within the budget" {
		t.Fatalf("the verdict is %q", got)
	}
	m.proof = &prove.Proof{Failed: true, Why: remark.New("prove.over_budget", remark.Values{"up_to_deg": 9., "budget_deg": 5.})}
	if v := m.verdict(); v.Word != "Not confirmed by the proof" || !v.Bad {
		t.Errorf("after a failed proof the verdict is %+v", v)
	}
	if all := strings.Join(m.lacks(), "\n"); !strings.Contains(all, "contradicts the map: by the captures at the spot the error may reach 9 degrees, over the budget of 5") {
		t.Errorf("the sheet's weaknesses do not say so:\n%s", all)
	}
}

// A broken promise and a failed evaluation are among the weaknesses; a missing
// measurement is no failure.
func TestSheetSaysWhatFailed(t *testing.T) {
	f, r := example.RankedBoard()
	o := sheetOptions()
	o.Promise = &answer.Promise{Kept: false, Why: "3 uT apart"}
	m := newSheetMaker(t.Context(), f, r, o)
	m.failed("The balance", balance.ErrNoMasses, balance.ErrNoMasses)
	m.failed("The sources of the field", errors.New("invented reason"), sources.ErrNoVectors)
	all := strings.Join(m.lacks(), "\n")
	for _, want := range []string{"steady part is not what the map promised", "The sources of the field could not be worked out: invented reason."} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is missing in:\n%s", want, all)
		}
	}
	if strings.Contains(all, "The balance could not") {
		t.Errorf("what nobody weighed is said to have failed:\n%s", all)
	}
}

// The sheet states that a choice cannot be judged, and does not silently report on
// another spot.
func TestSheetSaysThatTheChoiceIsLost(t *testing.T) {
	f, r := example.RankedBoard()
	o := sheetOptions()
	o.Choice = &logbook.Choice{Spot: logbook.ChosenSpot{ZMM: 1e6}}
	m := newSheetMaker(t.Context(), f, r, o)
	if m.subject.chosen || m.subject.lost == nil {
		t.Fatalf("the subject is %+v", m.subject)
	}
	if all := strings.Join(m.lacks(), "\n"); !strings.Contains(all, "The chosen spot could not be judged: place") {
		t.Errorf("the sheet's weaknesses do not say so:\n%s", all)
	}
}

// Loads whose file names are equal have separate files.
func TestPicturesOfLikeNamedLoads(t *testing.T) {
	f := example.WithReadings(example.Findings(example.Board(300, 500, 100), example.Bump{Peak: 4, Width: 90}, nil))
	for _, s := range f.Stations {
		s.Loads["Motor"] = s.Loads["motor"]
		for _, r := range s.Readings {
			r.Load = "Motor"
			f.Stations[0].Readings = append(f.Stations[0].Readings, r)
		}
	}
	again := f.Craft.Loads[0]
	again.Name = "Motor"
	f.Craft.Loads = append(f.Craft.Loads, again)
	f.Loads = []evaluate.LoadFinding{{Name: "motor", Measured: true, Factor: 1}, {Name: "Motor", Measured: true, Factor: 1}}
	pictures, err := recordPictures(t.Context(), f, nil)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, p := range pictures {
		names = append(names, p.name)
	}
	if !slices.Contains(names, "load-motor") || !slices.Contains(names, "load-motor-2") {
		t.Errorf("the pictures are %v", names)
	}
}
