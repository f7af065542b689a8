package gate

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
)

// Limits of a stretch that reads something else. An honest capture is beyond so many
// standard deviations in a few cases of a hundred, mostly for a long slip of the
// hand beside a magnet; four in a row are one in a million.
const (
	stretchSD      = 1.8
	stretchLeast   = 4
	stretchLeastUT = 1.5 // less does not spoil a map
	poseDeg        = 2.
)

// stretch looks for captures in a row that contradict other captures of the same
// stations: a magnet, a phone or a tool that lay near for a while.
func stretch(_ context.Context, s subject) Check {
	out := abstain(remark.New("gate.stretch_not_checkable"))
	for room := range s.f.Rooms {
		visits := s.comparable(room)
		z, ut := contradictions(visits, s.readingsPlaces(visits))
		first, last, n := longest(visits, z, ut)
		if n >= stretchLeast {
			a, b := visits[first], visits[last]
			return failed(remark.New("gate.stretch", remark.Values{
				"to_capture": b.Capture, "to_station": b.Station, "captures": n, "by_ut": ut[first],
			}).At(remark.Place{Run: a.Run, Capture: a.Capture, Station: a.Station}))
		}
		for _, v := range z {
			if !math.IsNaN(v) && out.State == Abstained {
				out = passed()
			}
		}
	}
	return out
}

// readingsPlaces returns the number of the place of each visit, as the search of a
// change has it.
func (s subject) readingsPlaces(visits []evaluate.Visit) []int {
	out := make([]int, len(visits))
	for i, r := range s.readings(visits) {
		out[i] = r.Place
	}
	return out
}

// contradictions returns how many standard deviations, root mean square over the
// components, and how many microtesla each visit is from the median of those of its
// place in other runs; NaN where there are none.
func contradictions(visits []evaluate.Visit, places []int) (z, ut []float64) {
	at := map[int][]int{}
	for i, p := range places {
		at[p] = append(at[p], i)
	}
	z, ut = make([]float64, len(visits)), make([]float64, len(visits))
	for i, v := range visits {
		z[i], ut[i] = math.NaN(), math.NaN()
		var others []r3.Vec
		for _, k := range at[places[i]] {
			if visits[k].Run != v.Run {
				others = append(others, visits[k].B)
			}
		}
		if len(others) < 1 {
			continue
		}
		middle := magmath.MedianVec(others)
		pose := poseDeg * math.Pi / 180
		noise := v.Cov.Add(v.Gradient.Mul(v.Gradient.Transpose()).Scale(slipMM * slipMM))
		noise = noise.Add(magmath.Identity().Scale(1 + pose*pose*r3.Norm2(middle)))
		noise = noise.Scale(1 + 1.5/float64(len(others)))
		d := r3.Sub(v.B, middle)
		w, ok := noise.Inverse()
		if !ok {
			continue
		}
		z[i], ut[i] = math.Sqrt(r3.Dot(d, w.Apply(d))/3), r3.Norm(d)
	}
	return z, ut
}

// longest returns the first and the last visit of the longest row of visits of one
// run that contradict others, and their number. Visits that have no others are
// passed over, and those to the base: what lies near the craft does not reach it.
func longest(visits []evaluate.Visit, z, ut []float64) (first, last, n int) {
	from, count := 0, 0
	for i := range visits {
		if i == 0 || visits[i].Run != visits[i-1].Run {
			count = 0
		}
		switch {
		case math.IsNaN(z[i]), visits[i].Base:
		case z[i] > stretchSD && ut[i] > stretchLeastUT:
			if count == 0 {
				from = i
			}
			if count++; count > n {
				first, last, n = from, i, count
			}
		default:
			count = 0
		}
	}
	return first, last, n
}
