package gate

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/onset"
	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
)

// Limits of a change of scale. A change by chance is to be found in fewer than one
// honest survey of a hundred, both kinds and all set-ups together; one smaller than
// the least does no harm that the uncertainties do not hold.
const (
	changeP      = 0.001
	leastRatio   = 0.02 // of the field
	leastTurnDeg = 1.5
	slipMM       = 3.5 // of the hand, an axis, a few long slips included
	otherNightUT = 3.  // between runs of two sessions that share a background
)

// scaleChange looks for a capture from which on, to the end of its run or of the
// set-up, all fields are larger by a common ratio or turned by a common rotation,
// against other captures of the same stations and of the base.
func scaleChange(ctx context.Context, s subject) Check {
	out := abstain(remark.New("gate.scale_not_checkable"))
	for room := range s.f.Rooms {
		visits := s.comparable(room)
		readings := s.readings(visits)
		r := onset.Find(ctx, readings, onset.Options{OffsetUT: s.offset(visits)})
		if c := s.scaleFailure(visits, r); c.State == Failed {
			return c
		}
		switch run := unlinked(visits, r.Compared); {
		case len(visits) == 0 || !anyOf(r.Compared):
		case run > 0:
			out = abstain(remark.New("gate.run_not_checkable").At(remark.Place{Run: run}))
		case out.State == Abstained && out.Why.Code == "gate.scale_not_checkable":
			out = passed()
		}
	}
	return out
}

// scaleFailure returns the check that a found change fails.
func (s subject) scaleFailure(visits []evaluate.Visit, r onset.Result) Check {
	ratio := r.Ratio.P < changeP && math.Abs(math.Log(r.Ratio.Ratio)) > leastRatio
	turn := r.Turn.P < changeP && r.Turn.TurnDeg > leastTurnDeg
	if turn && (!ratio || r.Turn.P < r.Ratio.P) {
		at, values := where(visits, r.Turn)
		values["turn_deg"], values["p_value"] = r.Turn.TurnDeg, r.Turn.P
		return failed(remark.New("gate.turned", values).At(at))
	}
	if ratio {
		at, values := where(visits, r.Ratio)
		values["ratio"], values["p_value"] = r.Ratio.Ratio, r.Ratio.P
		return failed(remark.New("gate.scale_change", values).At(at))
	}
	return passed()
}

// where returns the place of a change and the capture before it with which it was
// compared.
func where(visits []evaluate.Visit, c onset.Change) (remark.Place, remark.Values) {
	v := visits[c.From]
	last := visits[c.To-1]
	return remark.Place{Run: v.Run, Capture: v.Capture, Station: v.Station},
		remark.Values{"to_run": last.Run, "to_capture": last.Capture}
}

// comparable returns the visits of a set-up that can be compared with one another:
// all with the load off, and the base with any. Beside a strong magnet, where a
// millimetre matters more than any scale, nothing is compared.
func (s subject) comparable(room int) []evaluate.Visit {
	var out []evaluate.Visit
	most := 2 * s.f.Reference.F / 1000
	for _, v := range s.visits {
		if v.Room == room && (s.atBase(v) || v.Load == "" && r3.Norm(v.B) < most) {
			out = append(out, v)
		}
	}
	return out
}

// readings returns visits for the search of a change. A place with the craft and
// without it is two, but for a base at which the craft hardly shows.
func (s subject) readings(visits []evaluate.Visit) []onset.Reading {
	out := make([]onset.Reading, len(visits))
	for i, v := range visits {
		g := v.Gradient
		r := onset.Reading{
			B: v.B, Cov: v.Cov.Add(g.Mul(g.Transpose()).Scale(slipMM * slipMM)),
			Place: 2 * v.At, Run: v.Run, TS: v.TS, Firm: v.Base,
		}
		switch {
		case s.atBase(v):
			r.Cov = r.Cov.Add(magmath.Identity().Scale(v.PriorUT * v.PriorUT))
		case v.Craft:
			r.Place++
		}
		out[i] = r
	}
	return out
}

// offset returns how far a run's own drift may lie from the others'.
func (s subject) offset(visits []evaluate.Visit) func(run int) float64 {
	session := map[int]string{}
	for _, r := range s.f.Runs {
		session[r.Header.Run] = r.Header.Session
	}
	one := true
	for _, v := range visits {
		one = one && session[v.Run] == session[visits[0].Run]
	}
	return func(int) float64 {
		if one {
			return 1
		}
		return otherNightUT
	}
}

// unlinked returns the first run of which hardly any capture can be compared: two
// are needed, so that both its ends are tied to something. 0: none.
func unlinked(visits []evaluate.Visit, compared []bool) int {
	linked, all := map[int]int{}, []int{}
	for i, v := range visits {
		if _, ok := linked[v.Run]; !ok {
			all = append(all, v.Run)
			linked[v.Run] = 0
		}
		if compared[i] {
			linked[v.Run]++
		}
	}
	for _, run := range all {
		if linked[run] < 2 {
			return run
		}
	}
	return 0
}

func anyOf(all []bool) bool {
	for _, b := range all {
		if b {
			return true
		}
	}
	return false
}
