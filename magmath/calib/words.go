package calib

import (
	"fmt"
	"math"
)

func (c Candidate) words() string {
	return fmt.Sprintf("%d: %s", c.Parameters, microtesla(c.TotalUT))
}

func microtesla(v float64) string {
	switch {
	case math.IsInf(v, 0) || math.IsNaN(v) || v > 1e4:
		return "not determined"
	case v >= 10:
		return fmt.Sprintf("%.0f uT", v)
	case v >= 1:
		return fmt.Sprintf("%.1f uT", v)
	}
	return fmt.Sprintf("%.2f uT", v)
}
