package link

import (
	"fmt"
	"math"
	"slices"
)

// unitGuess is what the numbers' unit is held for.
type unitGuess struct {
	name       string
	scale      float64 // microtesla a unit
	confidence float64
	why        string
	settle     string
}

// fieldUnits are the units that the strength of the field can tell apart: the
// geomagnetic field has 25 to 65 microtesla at the surface.
// Range: common knowledge, no source.
var fieldUnits = [...]unit{unitUT, unitG, unitMG, unitNT}

const lowUT, highUT = 25, 65

// guessUnit finds the unit from what is printed, else from the magnitudes.
func guessUnit(rs []reading, o DecodeOptions) unitGuess {
	if o.Scale > 0 {
		return unitGuess{"units as scaled", o.Scale, 1, "the scale was given", ""}
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
		return unitGuess{printed.String(), printed.microtesla(), 0.98, "the unit is printed", ""}
	case median == 0:
		return unitGuess{why: "all numbers are zero: no magnetometer answers the board", settle: "--scale, if it does,"}
	case o.ReferenceUT > 0:
		return unitByReference(median, frac, o.ReferenceUT)
	}
	return unitByRange(mags, median, frac)
}

// guessSmall settles "g" and "mg": gauss, or gravity.
func guessSmall(u unit, median float64, sure bool, o DecodeOptions) unitGuess {
	ug := unitGuess{name: u.String(), scale: u.microtesla()}
	ut := median * ug.scale
	gravity := math.Abs(median*u.gravities()-1) < 0.1
	switch {
	case sure:
		ug.confidence, ug.why = 0.9, "the printed unit is taken for "+ug.name+", as the labels name the field"
	case gravity:
		ug.why, ug.settle = "the magnitude is 1 g, so these look like accelerations, not a field", "--columns and --scale"
	case inRange(ut, o.ReferenceUT):
		ug.confidence, ug.why = 0.9, fmt.Sprintf("%.3g %s is a field, not an acceleration", median, ug.name)
	default:
		ug.why = fmt.Sprintf("g may be gauss or gravity, and the magnitude %.3g fits neither", median)
		ug.settle = fmt.Sprintf("--scale %g (gauss)", ug.scale)
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
	ug.why = fmt.Sprintf("the magnitude %.4g is %.3g times the field of the place in %s", median, median*ug.scale/reference, ug.name)
	switch {
	case !frac && best == unitMG && off < 0.15:
		ug.confidence = 0.55
		ug.settle = "--scale 0.1 (milligauss) or the sensor's own scale (counts)"
	case !frac && off > 0.3:
		return counts(median, reference)
	case off < 0.3:
		ug.confidence = 0.9
	case off < math.Log(2):
		ug.confidence = 0.6
		ug.settle = fmt.Sprintf("--scale %g", ug.scale)
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
		ug := unitGuess{u.String(), k, 0, fmt.Sprintf("the magnitude %.4g would be a usual field in %s", median, u), ""}
		switch {
		case !frac && u == unitMG && near:
			return counts(median, 0)
		case share >= 0.6 && frac:
			ug.confidence = 0.8
		case share >= 0.6 && (u == unitNT || u == unitUT):
			ug.confidence, ug.settle = 0.65, fmt.Sprintf("--scale %g", k)
		case near && frac:
			ug.confidence, ug.settle = 0.55, fmt.Sprintf("--scale %g", k)
		default:
			continue
		}
		return ug
	}
	return counts(median, 0)
}

// counts refuses: the numbers are a sensor's own counts, or a field too far
// from the usual.
func counts(median, reference float64) unitGuess {
	ug := unitGuess{why: fmt.Sprintf("the magnitude %.4g has no unit and may be a sensor's own counts", median), settle: "--scale"}
	if reference > 0 {
		ug.settle = fmt.Sprintf("--scale (microtesla per unit; %.3g if this is the undisturbed field)", reference/median)
	} else if median >= 250 && median <= 650 {
		ug.settle = "--scale 0.1 (milligauss) or the sensor's own scale"
	}
	return ug
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

// timesOf are the boards' own times of readings.
func timesOf(rs []reading) []float64 {
	var out []float64
	for i := range rs {
		if rs[i].has(roleT) {
			out = append(out, rs[i].v[roleT])
		}
	}
	return out
}

// guessTimeUnit tells seconds, milliseconds and microseconds apart by the
// median step, for sample rates of 0.3 to 1000 a second. unitNone: the column
// does not run forward.
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
