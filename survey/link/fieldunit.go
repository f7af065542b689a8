package link

import (
	"math"
	"slices"

	"quietmount/magmath/remark"
)

// unitGuess is the likely unit of the numbers.
type unitGuess struct {
	name       string
	scale      float64 // microtesla a unit
	confidence float64
	why        remark.Remark
	settle     []remark.Remark
}

// fieldUnits are the units that the strength of the field can tell apart: the
// geomagnetic field has 25 to 65 microtesla at the surface.
// Range: common knowledge, no source.
var fieldUnits = [...]unit{unitUT, unitG, unitMG, unitNT}

const lowUT, highUT = 25, 65

// guessUnit finds the unit from the printed units, else from the magnitudes.
func guessUnit(rs []reading, o DecodeOptions) unitGuess {
	if o.Scale > 0 {
		return unitGuess{"units as scaled", o.Scale, 1, remark.New("link.guess-scaled"), nil}
	}
	mags, frac, sure := make([]float64, len(rs)), false, false
	var printed unit
	for i := range rs {
		r := &rs[i]
		mags[i] = math.Sqrt(r.v[roleX]*r.v[roleX] + r.v[roleY]*r.v[roleY] + r.v[roleZ]*r.v[roleZ])
		frac, sure = frac || r.frac, sure || r.sure
		if r.unit != unitNone {
			printed = r.unit
		}
	}
	slices.Sort(mags)
	median := mags[len(mags)/2]
	switch {
	case printed == unitSmall || printed == unitMilli:
		return guessSmall(printed, median, sure, o)
	case printed != unitNone:
		return unitGuess{printed.String(), printed.microtesla(), 0.98, remark.New("link.guess-printed"), nil}
	case median == 0:
		return unitGuess{why: remark.New("link.guess-zero"), settle: []remark.Remark{settleScale(unitNone, false, 0)}}
	case o.ReferenceUT > 0:
		return unitByReference(median, frac, o.ReferenceUT)
	}
	return unitByRange(mags, median, frac)
}

// guessSmall decides whether "g" and "mg" are gauss or gravity.
func guessSmall(u unit, median float64, sure bool, o DecodeOptions) unitGuess {
	ug := unitGuess{name: u.String(), scale: u.microtesla()}
	ut := median * ug.scale
	gravity := math.Abs(median*u.gravities()-1) < 0.1
	switch {
	case sure:
		ug.confidence, ug.why = 0.9, remark.New("link.guess-taken", remark.Values{"unit": ug.name})
	case gravity:
		ug.why, ug.settle = remark.New("link.guess-gravity"), []remark.Remark{settleColumns(), settleScale(unitNone, false, 0)}
	case inRange(ut, o.ReferenceUT):
		ug.confidence, ug.why = 0.9, remark.New("link.guess-field", remark.Values{"magnitude": median, "unit": ug.name})
	default:
		ug.why = remark.New("link.guess-neither", remark.Values{"magnitude": median})
		ug.settle = []remark.Remark{settleScale(u, false, 0)}
	}
	return ug
}

func inRange(ut, reference float64) bool {
	if reference > 0 {
		return math.Abs(math.Log(ut/reference)) < 0.35
	}
	return ut >= lowUT && ut <= highUT
}

// unitByReference compares with the field of the place. A disturbed or
// uncalibrated probe may be off by up to a factor of two; the units are a
// factor of ten apart.
func unitByReference(median float64, frac bool, reference float64) unitGuess {
	best, off := unitNone, math.Inf(1)
	for _, u := range fieldUnits {
		if d := math.Abs(math.Log(median * u.microtesla() / reference)); d < off {
			best, off = u, d
		}
	}
	ug := unitGuess{name: best.String(), scale: best.microtesla()}
	ug.why = remark.New("link.guess-reference", remark.Values{"magnitude": median, "ratio": median * ug.scale / reference, "unit": ug.name})
	switch {
	case !frac && best == unitMG && off < 0.15:
		ug.confidence = 0.55
		ug.settle = []remark.Remark{settleScale(unitMG, true, 0)}
	case !frac && off > 0.3:
		return counts(median, reference)
	case off < 0.3:
		ug.confidence = 0.9
	case off < math.Log(2):
		ug.confidence = 0.6
		ug.settle = []remark.Remark{settleScale(best, false, 0)}
	default:
		return counts(median, reference)
	}
	return ug
}

// unitByRange lets each sample vote for the unit in which it would be the
// geomagnetic field.
func unitByRange(mags []float64, median float64, frac bool) unitGuess {
	for _, u := range fieldUnits {
		k, votes := u.microtesla(), 0
		for _, m := range mags {
			if m*k >= lowUT && m*k <= highUT {
				votes++
			}
		}
		share := float64(votes) / float64(len(mags))
		near := median*k > lowUT/1.5 && median*k < highUT*1.5
		ug := unitGuess{u.String(), k, 0, remark.New("link.guess-range", remark.Values{"magnitude": median, "unit": u.String()}), nil}
		switch {
		case !frac && u == unitMG && near:
			return counts(median, 0)
		case share >= 0.6 && frac:
			ug.confidence = 0.8
		case share >= 0.6 && (u == unitNT || u == unitUT):
			ug.confidence, ug.settle = 0.65, []remark.Remark{settleScale(u, false, 0)}
		case near && frac:
			ug.confidence, ug.settle = 0.55, []remark.Remark{settleScale(u, false, 0)}
		default:
			continue
		}
		return ug
	}
	return counts(median, 0)
}

// counts returns an undecided guess: the numbers are a sensor's own counts, or a
// field too far from the usual.
func counts(median, reference float64) unitGuess {
	settle := settleScale(unitNone, true, 0)
	if reference > 0 {
		settle = settleScale(unitNone, true, reference/median)
	} else if median >= 250 && median <= 650 {
		settle = settleScale(unitMG, true, 0)
	}
	return unitGuess{why: remark.New("link.guess-counts", remark.Values{"magnitude": median}), settle: []remark.Remark{settle}}
}

// guessAcc finds the unit of accelerations from the magnitude at rest: 1 g,
// 9.8 m/s^2, 1000 mg, or a power of two of counts. 0: cannot tell.
func guessAcc(rs []reading) float64 {
	var mags []float64
	for i := range rs {
		if r := &rs[i]; r.have&accMask == accMask {
			mags = append(mags, math.Sqrt(r.v[roleAX]*r.v[roleAX]+r.v[roleAY]*r.v[roleAY]+r.v[roleAZ]*r.v[roleAZ]))
		}
	}
	if len(mags) == 0 {
		return 0
	}
	slices.Sort(mags)
	median := mags[len(mags)/2]
	for _, oneG := range [...]float64{1, standardGravity, 1000, 2048, 4096, 8192, 16384} {
		if math.Abs(median/oneG-1) < 0.12 {
			return 1 / oneG
		}
	}
	return 0
}

// timesOf returns the board's own times of readings.
func timesOf(rs []reading) []float64 {
	var out []float64
	for i := range rs {
		if rs[i].has(roleT) {
			out = append(out, rs[i].v[roleT])
		}
	}
	return out
}

// guessTimeUnit distinguishes seconds, milliseconds and microseconds by the median
// step, for sample rates of 0.3 to 1000 per second. It returns unitNone if the
// column does not increase.
func guessTimeUnit(ts []float64) unit {
	var steps []float64
	whole := true
	for i := 1; i < len(ts); i++ {
		whole = whole && ts[i] == math.Trunc(ts[i])
		if d := ts[i] - ts[i-1]; d > 0 {
			steps = append(steps, d)
		}
	}
	if len(steps) < 1 || len(steps)*2 < len(ts)-1 {
		return unitNone
	}
	slices.Sort(steps)
	switch step := steps[len(steps)/2]; {
	case step > 3000:
		return unitUS
	case !whole && step <= 3:
		return unitS
	}
	return unitMS
}
