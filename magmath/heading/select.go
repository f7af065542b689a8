package heading

import (
	"math"
	"slices"
)

// bins is the number of equal intervals that ordered sorts values into. With
// draws values few lie in one.
const bins = 1024

// ordered finds order statistics of the same values without sorting all of
// them: it counts how many lie in each of equal intervals from the smallest to the
// largest, and sorts the values of one interval only.
//
// Source: distribution counting, Knuth (1998), The Art of Computer Programming,
// vol. 3, 2nd ed., section 5.2.
type ordered struct {
	values []float64 // as they came
	bin    []uint16  // of each value
	below  [bins + 1]int
	few    []float64 // those of one bin
}

// of takes the values, which must be numbers, at least one, and are kept and not
// changed.
func (o *ordered) of(values []float64) {
	low, high := values[0], values[0]
	for _, v := range values {
		if v < low {
			low = v
		}
		if v > high {
			high = v
		}
	}
	scale := (bins - 1) / (high - low)
	apart := scale > 0 && scale <= math.MaxFloat64 // else equal, or too close or too far apart to divide by: all go into one bin
	o.values, o.bin = values, o.bin[:0]
	clear(o.below[:])
	for _, v := range values {
		var b uint16
		if apart {
			b = uint16(scale * (v - low))
		}
		o.bin = append(o.bin, b)
		o.below[b+1]++
	}
	for b := range bins {
		o.below[b+1] += o.below[b]
	}
}

// at returns the value with k smaller ones before it.
func (o *ordered) at(k int) float64 {
	b, _ := slices.BinarySearch(o.below[1:], k+1)
	o.few = o.few[:0]
	for i, bin := range o.bin {
		if int(bin) == b {
			o.few = append(o.few, o.values[i])
		}
	}
	slices.Sort(o.few)
	return o.few[k-o.below[b]]
}

// quantile returns the p-quantile by linear interpolation between order statistics,
// the k-th of n counted as the (k-1/2)/n quantile.
//
// Source: Hyndman and Fan (1996), Sample quantiles in statistical packages,
// The American Statistician 50, definition 5.
func (o *ordered) quantile(p float64) float64 {
	n := len(o.values)
	pos := min(max(p*float64(n)-0.5, 0), float64(n-1))
	k := int(pos)
	low := o.at(k)
	if k+1 >= n {
		return low
	}
	return low + (pos-float64(k))*(o.at(k+1)-low)
}
