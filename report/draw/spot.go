package draw

import (
	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/say"
)

// Spot is where the craft stands in a picture of it: a place at x and y
// millimetres is drawn AcrossPt + y Scale from the left edge and
// DownPt - x Scale from the upper one.
type Spot struct {
	WidthPt  float64 `json:"width_pt"`
	HeightPt float64 `json:"height_pt"`
	AcrossPt float64 `json:"across_pt"` // of the datum
	DownPt   float64 `json:"down_pt"`
	Scale    float64 `json:"pt_per_mm"`
}

// Spot is where the craft stands in the picture; a scale of zero where it shows
// none, or several.
func (p *Picture) Spot() Spot {
	s := Spot{WidthPt: say.Tidy(p.Width.Points()), HeightPt: say.Tidy(p.Height.Points())}
	if p.Frame.Scale > 0 {
		at := p.Frame.At(r2.Vec{})
		s.AcrossPt, s.DownPt, s.Scale = say.Tidy(at.X.Points()), say.Tidy((p.Height - at.Y).Points()), say.Tidy(p.Frame.Scale)
	}
	return s
}
