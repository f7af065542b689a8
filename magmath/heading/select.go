package heading

// quantile is the p-quantile of xs by linear interpolation between order
// statistics, the k-th of n counted as the (k-1/2)/n quantile. It reorders xs.
// All values must be numbers; xs must not be empty.
//
// Source: Hyndman and Fan (1996), Sample quantiles in statistical packages,
// The American Statistician 50, definition 5.
func quantile(xs []float64, p float64) float64 {
	pos := min(max(p*float64(len(xs))-0.5, 0), float64(len(xs)-1))
	k := int(pos)
	low := selectAt(xs, k)
	if k+1 >= len(xs) {
		return low
	}
	high := xs[k+1]
	for _, x := range xs[k+2:] {
		high = min(high, x)
	}
	return low + (pos-float64(k))*(high-low)
}

// selectAt puts the k-th smallest of xs at xs[k], with nothing larger before
// and nothing smaller behind, and returns it.
//
// Source: Hoare (1961), Algorithm 65: find, Comm. ACM 4; pivot by the median of
// three.
func selectAt(xs []float64, k int) float64 {
	low, high := 0, len(xs)-1
	for low < high {
		pivot := median3(xs[low], xs[low+(high-low)/2], xs[high])
		i, j := low, high
		for i <= j {
			for xs[i] < pivot {
				i++
			}
			for xs[j] > pivot {
				j--
			}
			if i <= j {
				xs[i], xs[j] = xs[j], xs[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return xs[k]
		}
	}
	return xs[k]
}

func median3(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}
