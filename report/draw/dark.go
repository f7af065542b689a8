package draw

import (
	"image/color"

	"gonum.org/v1/plot/vg/recorder"
)

// Dark returns the picture on a dark ground, for a screen: greys are inverted, the
// inks of leads and parts are lighter, the colours of a map are unchanged.
func (p *Picture) Dark() *Picture {
	out := *p
	out.drawing.Actions = make([]recorder.Action, len(p.drawing.Actions))
	for i, a := range p.drawing.Actions {
		if c, ok := a.(*recorder.SetColor); ok {
			turned := *c
			turned.Color = darkInk(c.Color)
			a = &turned
		}
		out.drawing.Actions[i] = a
	}
	return &out
}

// The darkest and the lightest grey of a dark picture.
const (
	darkGround = 0x16
	darkLight  = 0xec
)

// darkInk returns the ink that replaces c on a dark ground.
func darkInk(c color.Color) color.Color {
	switch c {
	case Wire:
		return color.RGBA{R: 0xff, G: 0x8a, B: 0x5c, A: 0xff}
	case Solid:
		return color.RGBA{R: 0x6f, G: 0xc3, B: 0xd8, A: 0xff}
	}
	r, g, b, _ := c.RGBA()
	if r != g || g != b {
		return c
	}
	low, high := float64(Black.Y), float64(White.Y)
	share := (float64(r>>8) - low) / (high - low)
	return color.Gray{Y: uint8(min(255, max(0, darkLight+share*(darkGround-darkLight))))}
}
