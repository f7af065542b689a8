package link

import (
	"cmp"
	"math"
	"slices"

	"quietmount/magmath/remark"
)

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

// ReasonsFor returns the known mistakes whose factor is near the ratio of measured
// to reference field, nearest first: a unit or a range setting taken for another
// ("link.unit-mistaken", "link.range-mistaken"). There is none where the ratio is within
// 15 % of one, which a room or an offset explains. The tolerance is 5 %, as a
// room differs from the reference by some per cent.
func ReasonsFor(ratio float64) []remark.Remark {
	const tolerance, usual = 0.05, 0.15
	if !(ratio > 0) || math.IsInf(ratio, 0) || math.Abs(math.Log(ratio)) < usual {
		return nil
	}
	type reason struct {
		off float64 // |log| of the ratio over the factor
		why remark.Remark
	}
	var near []reason
	add := func(factor float64, why remark.Remark) {
		if off := math.Abs(math.Log(ratio / factor)); off <= tolerance {
			near = append(near, reason{off, why})
		}
	}
	for _, a := range fieldUnits {
		for _, b := range fieldUnits {
			if a != b {
				add(a.microtesla()/b.microtesla(), remark.New("link.unit-mistaken", remark.Values{"unit": b.String(), "taken_for": a.String(), "scale_ut": b.microtesla()}))
			}
		}
	}
	for _, c := range gains {
		for _, set := range c.gains {
			for _, assumed := range c.gains {
				if set != assumed {
					add(set/assumed, remark.New("link.range-mistaken", remark.Values{"chip": c.chip, "set_per_gauss": set, "assumed_per_gauss": assumed}))
				}
			}
		}
	}
	slices.SortStableFunc(near, func(p, q reason) int { return cmp.Compare(p.off, q.off) })
	var out []remark.Remark
	for _, r := range near {
		out = append(out, r.why)
	}
	return out
}
