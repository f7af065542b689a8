package source

import (
	"math"
)

// criterion is the Bayesian information criterion with the readings'
// covariance known up to a factor of one or more: the least unexplained sum of
// squares counts as it is while it is no more than the number of components,
// and as under an estimated variance beyond that, so that noise stated too
// small does not breed sources.
//
// Source: G. Schwarz, Annals of Statistics 6 (1978) 461; for an unknown
// variance n log(RSS/n), e.g. K. P. Burnham, D. R. Anderson, Model Selection
// and Multimodel Inference (2002), section 2.2; from memory.
func (s *search) criterion(q *point) float64 {
	n := float64(s.size())
	v := q.cost
	if v > n {
		v = n * (1 + math.Log(v/n))
	}
	return v + unnamedParameters(q)*math.Log(n)
}

// unnamedParameters counts what the data alone must settle: the named parts
// are in every model alike.
func unnamedParameters(q *point) float64 {
	n := 0
	for _, e := range q.es {
		if e.name == "" {
			for _, sd := range e.coordsSD {
				if math.IsInf(sd, 1) || sd >= freeGapMM {
					n++
				}
			}
			if e.kind == KindDipole {
				n += e.strengths()
			}
		}
	}
	return float64(n)
}

// scale is the factor, at least one, by which the residuals say the stated
// covariance is too small.
func (s *search) scale(q *point) float64 {
	return max(1, q.cost/max(1, s.freedom(q)))
}

// freedom is the number of components less the parameters fitted to them.
func (s *search) freedom(q *point) float64 {
	n := float64(s.size()-3*len(s.lone)) - unnamedParameters(q)
	for _, e := range q.es {
		if e.name != "" {
			n -= float64(e.strengths())
		}
	}
	return n
}
