package draw

import (
	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/say"
)

// Spot is the place of the craft in a picture: the picture shows the place x, y of
// the craft, mm, at AcrossPt + y Scale from its left edge and DownPt - x Scale from
// its upper edge.
type Spot struct {
	WidthPt  float64 `json:"width_pt"`
	HeightPt float64 `json:"height_pt"`
	AcrossPt float64 `json:"across_pt"` // of the datum
	DownPt   float64 `json:"down_pt"`
	Scale    float64 `json:"pt_per_mm"`
}

// Spot returns the place of the craft; its scale is zero if the picture shows no
// craft or several.
func (p *Picture) Spot() Spot {
	s := Spot{WidthPt: say.Tidy(p.Width.Points()), HeightPt: say.Tidy(p.Height.Points())}
	if p.Frame.Scale > 0 {
		at := p.Frame.At(r2.Vec{})
		s.AcrossPt, s.DownPt, s.Scale = say.Tidy(at.X.Points()), say.Tidy((p.Height - at.Y).Points()), say.Tidy(p.Frame.Scale)
	}
	return s
}
