package report

import (
	"fmt"
	"math"

	"quietmount/survey/findings"
)

type verdictView struct {
	Qualified             bool
	Word, Sentence, Proof string
}

func verdictOf(f *findings.Findings, r *findings.Ranking) verdictView {
	v := verdictView{
		Word: "Not decided", Sentence: "Nothing could be ranked: neither a load nor a disturbance against a background was measured.",
		Proof: "Not proved: no captures with the module at the chosen spot are part of this record.",
	}
	if r == nil {
		return v
	}
	v.Qualified, v.Sentence = r.Qualified, NewRankAnswer(f, r).Verdict()
	v.Proof = proofSentence(f, v.Proof)
	switch {
	case r.Qualified && r.ByShifting:
		v.Word = "Within the budget"
	case r.Qualified:
		v.Word = "Steady part only"
		v.Qualified = false
	default:
		v.Word = "No spot qualifies"
	}
	return v
}

// proofSentence puts promised beside measured for the place at which proofs
// were captured last; without any it says so.
func proofSentence(f *findings.Findings, without string) string {
	places := f.ProofPlaces()
	if len(places) == 0 {
		return without
	}
	at := places[len(places)-1]
	p, err := f.Prove(at)
	if err != nil || p.Measured == nil {
		return without
	}
	return fmt.Sprintf("At x %.0f, y %.0f mm: %s.", at.At.X, at.At.Y, p.Why)
}

type spotsView struct {
	Rows      []spotView
	Attitudes string
	Worst     string
	Remarks   []string
}

type spotView struct {
	First                   bool
	Rank                    int
	X, Y, Z, Height, Near   string
	Shifting, ShiftingUpper string
	Steady, SteadyUpper     string
	Miss, Cable             string
	Remarks                 string
}

func spotsOf(f *findings.Findings, r *findings.Ranking) *spotsView {
	if r == nil || len(r.Spots) == 0 {
		return nil
	}
	a := NewRankAnswer(f, r)
	v := &spotsView{Attitudes: a.HeadingAt, Worst: listed(a.Spots[0].WorstCombination)}
	for i, s := range a.Spots {
		shifting, steady := degreesOf(s.Shifting), microteslaOf(s.SteadyUT)
		v.Rows = append(v.Rows, spotView{
			First: i == 0, Rank: s.Rank, X: mm(s.Xmm), Y: mm(s.Ymm), Z: mm(s.Zmm), Height: short(s.HeightMM), Near: s.NearestStation,
			Shifting: dash(shifting[0]), ShiftingUpper: dash(shifting[1]), Steady: dash(steady[0]), SteadyUpper: dash(steady[1]),
			Miss: dash(whole(s.PlacementToleranceMM)), Cable: dash(whole(s.CableMM)), Remarks: s.remarks(),
		})
	}
	if x := a.excludedWords(); x != "" {
		v.Remarks = append(v.Remarks, x)
	}
	return v
}

type stationView struct {
	Name                     string
	X, Y, Z                  string
	Captures                 int
	Steady                   string
	SteadyError, SteadyUpper string
	Shifting, ShiftingUpper  string
	Magnitude                string
}

func stationViews(f *findings.Findings) []stationView {
	var out []stationView
	a := NewMapAnswer(f)
	all := a.Stations
	if a.Base != nil {
		base := *a.Base
		base.Name = "base " + base.Name
		all = append([]stationAnswer{base}, all...)
	}
	for _, s := range all {
		row := stationRow(s)
		for i := range row {
			row[i] = dash(row[i])
		}
		out = append(out, stationView{
			Name: s.Name, X: row[1], Y: row[2], Z: row[3], Captures: s.Count, Steady: row[4],
			SteadyError: row[5], SteadyUpper: row[6], Shifting: row[7], ShiftingUpper: row[8], Magnitude: row[9],
		})
	}
	return out
}

func mm(v float64) string { return minus(fmt.Sprintf("%.0f", math.Round(v)+0)) }

// dash sets a lone hyphen, which stands for nothing measured, as a dash, and a
// number's hyphen as a minus sign.
func dash(s string) string {
	if s == "-" {
		return "–"
	}
	return minus(s)
}

func minus(s string) string {
	if len(s) > 1 && s[0] == '-' {
		return "−" + s[1:]
	}
	return s
}
