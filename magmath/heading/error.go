package heading

// Quantiles are the 0.50 and the one-sided 0.95 quantile of a posterior.
type Quantiles struct {
	Estimate float64 `json:"estimate"`
	Upper95  float64 `json:"upper95"`
}

// Error is the posterior of a heading error in degrees, worst over all
// headings. AnyDirection is set where the estimate's horizontal disturbance is
// not smaller than H: the compass can then point anywhere and the error is
// given as 180.
type Error struct {
	Quantiles
	AnyDirection bool `json:"any_direction"`
}
