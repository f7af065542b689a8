package evaluate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/room"
)

// misfitP is the probability under which a background no longer counts as
// smooth.
const misfitP = 0.001

// fewBackgrounds is the least number of background captures that fix a
// uniform field and a gradient.
const fewBackgrounds = 5

func (e *evaluation) takeRooms() {
	for i, s := range e.setups {
		rf := RoomFinding{Session: s.Session, NoseDeg: s.Nose, MisfitP: math.NaN()}
		for _, r := range s.runs {
			rf.Runs = append(rf.Runs, r.Header.Run)
		}
		var middle r3.Vec
		n := 0.0
		for _, o := range e.obs {
			if o.Room != i || o.Pulsed {
				continue
			}
			if !o.Craft {
				rf.Backgrounds++
			}
			if !e.index.stations[o.Station].IsBase {
				middle, n = r3.Add(middle, o.At), n+1
			}
		}
		if rf.Backgrounds > 0 && n > 0 {
			if b, ok := e.result.Field(i, r3.Scale(1/n, middle)); ok {
				rf.FieldUT, rf.Gradient = &b.Mean, e.result.Gradient(i)
			}
			var test room.Test
			test, rf.Untested = e.result.Background(i)
			rf.MisfitP = test.P
		}
		e.f.Rooms = append(e.f.Rooms, rf)
		e.remarkRoom(rf, s)
	}
}

func (e *evaluation) remarkRoom(rf RoomFinding, s *setup) {
	if rf.Backgrounds > 0 && rf.Backgrounds < fewBackgrounds {
		e.f.note(remark.New("evaluate.few_backgrounds", remark.Values{"session": s.Session, "nose_deg": s.noseDeg(), "captures": rf.Backgrounds, "least": fewBackgrounds}))
	}
	if rf.MisfitP < misfitP {
		e.f.note(remark.New("evaluate.room_not_smooth", remark.Values{"session": s.Session, "nose_deg": s.noseDeg(), "p_value": rf.MisfitP}))
	}
	if rf.Untested != nil {
		e.f.note(remark.New("evaluate.room_untested", remark.Values{"session": s.Session, "nose_deg": s.noseDeg(), "cause": rf.Untested}))
	}
	if rf.FieldUT != nil {
		f, got := e.f.Reference.F/1000, r3.Norm(*rf.FieldUT)
		if r := got / f; r < 0.7 || r > 1.4 {
			e.f.note(remark.New("evaluate.room_strength", remark.Values{"session": s.Session, "nose_deg": s.noseDeg(), "background_ut": got, "reference_ut": f}))
		}
	}
}

// takeDrift reports the drift of each run at its captures and what its base
// returns say.
func (e *evaluation) takeDrift() {
	for i, r := range e.f.Runs {
		d := DriftCurve{Run: r.Header.Run}
		var first, last *room.Observation
		for k := range e.obs {
			o := &e.obs[k]
			if o.Run != i || o.Pulsed {
				continue
			}
			est, ok := e.result.Drift(i, o.TS)
			if !ok {
				continue
			}
			d.TS, d.B = append(d.TS, o.TS), append(d.B, est.Mean)
			d.SDUT = append(d.SDUT, math.Sqrt(est.Cov.Trace()/3))
			if e.index.stations[o.Station].IsBase {
				if first == nil {
					first = o
				}
				last = o
			}
		}
		if len(d.TS) == 0 {
			continue
		}
		if last != first {
			sd := math.Sqrt((first.Noise(e.result.Hyper).Trace() + last.Noise(e.result.Hyper).Trace()) / 3)
			d.Return = &BaseReturn{ChangeUT: r3.Sub(last.B, first.B), SDUT: sd}
		}
		e.f.Drift = append(e.f.Drift, d)
	}
}

// remark adds the cautions that follow from the whole.
func (e *evaluation) remark() {
	f := e.f
	if f.Basis == BasisMagnitude {
		f.note(remark.New("evaluate.magnitudes_only"))
	}
	if f.Craft.Base == nil {
		f.note(remark.New("evaluate.no_base"))
	}
	unpowered := slices.ContainsFunc(e.obs, func(o room.Observation) bool { return o.Craft && o.Load == room.NoLoad && !o.Pulsed })
	if !unpowered {
		f.note(remark.New("evaluate.no_unpowered"))
	}
	for i := range e.obs {
		if size, ok := e.doubted[i]; ok {
			r := e.readings[e.from[i]]
			f.note(remark.New("evaluate.contradicts", remark.Values{"standard_deviations": size}).At(placeOf(r.run, r.Capture)))
		}
	}
	for _, part := range []string{"steady", "shifting"} {
		l, ok := f.LeftOut[part]
		if ok && l.Stations < 6 {
			f.note(remark.New("evaluate.few_stations", remark.Values{"stations": l.Stations, "part": part}))
		}
	}
}
