package report

import "gonum.org/v1/gonum/spatial/r2"

// PictureSpot is where the craft stands in a picture of it: a place at x and y
// millimetres is drawn AcrossPt + y Scale from the left edge and
// DownPt - x Scale from the upper one.
type PictureSpot struct {
	WidthPt  float64 `json:"width_pt"`
	HeightPt float64 `json:"height_pt"`
	AcrossPt float64 `json:"across_pt"` // of the datum
	DownPt   float64 `json:"down_pt"`
	Scale    float64 `json:"pt_per_mm"`
}

// Spot is where the craft stands in the picture; a scale of zero where it shows
// none, or several.
func (p *Picture) Spot() PictureSpot {
	s := PictureSpot{WidthPt: tidy(p.width.Points()), HeightPt: tidy(p.height.Points())}
	if p.frame.scale > 0 {
		at := p.frame.at(r2.Vec{})
		s.AcrossPt, s.DownPt, s.Scale = tidy(at.X.Points()), tidy((p.height - at.Y).Points()), tidy(p.frame.scale)
	}
	return s
}
