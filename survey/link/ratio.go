package link

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// RatioReason explains why |B| is off by a known factor.
type RatioReason struct {
	Factor float64 // what the readings are multiplied by wrongly
	Text   string
}

// gains are the sensitivities, in counts per gauss, between which a chip's
// range setting chooses. Reading with one and scaling with another is off by
// their ratio.
// Sources: HMC5883L data sheet, table 8; HMC5883 data sheet, table 12; QMC5883L
// and QMC5883P data sheets; ST LIS3MDL data sheet.
var gains = [...]struct {
	chip  string
	gains []float64
}{
	{"QMC5883P", []float64{1000, 2500, 3750, 15000}},
	{"QMC5883L", []float64{3000, 12000}},
	{"HMC5883L", []float64{1370, 1090, 820, 660, 440, 390, 330, 230}},
	{"LIS3MDL", []float64{6842, 3421, 2281, 1711}},
	{"5883 taken for another of the three kinds,", []float64{1024, 1090, 3000, 12000, 1000, 3750, 15000}},
}

// ReasonsFor are the known factors within a tolerance of the ratio of
// measured to reference field, nearest first; none where the ratio is within
// 15 % of one, which a room or an offset explains. The tolerance is 5 %, as a
// room differs from the reference by some per cent.
func ReasonsFor(ratio float64) []RatioReason {
	const tolerance, usual = 0.05, 0.15
	if !(ratio > 0) || math.IsInf(ratio, 0) || math.Abs(math.Log(ratio)) < usual {
		return nil
	}
	var out []RatioReason
	add := func(f float64, text string) {
		if math.Abs(math.Log(ratio/f)) <= tolerance && !slices.ContainsFunc(out, func(r RatioReason) bool { return r.Text == text }) {
			out = append(out, RatioReason{f, text})
		}
	}
	for _, a := range fieldUnits {
		for _, b := range fieldUnits {
			if a != b {
				add(a.microtesla()/b.microtesla(), fmt.Sprintf("the numbers are in %s and are taken for %s (--scale %g)", b, a, b.microtesla()))
			}
		}
	}
	for _, c := range gains {
		for _, set := range c.gains {
			for _, assumed := range c.gains {
				if set != assumed {
					add(set/assumed, fmt.Sprintf("a %s set to %g counts per gauss and scaled as if to %g", c.chip, set, assumed))
				}
			}
		}
	}
	slices.SortStableFunc(out, func(p, q RatioReason) int {
		return cmp.Compare(math.Abs(math.Log(ratio/p.Factor)), math.Abs(math.Log(ratio/q.Factor)))
	})
	return out
}
