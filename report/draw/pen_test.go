package draw

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Letters that the font lacks are counted; those with a plain form become that form
// (Unicode Standard Annex 15, NFKC: fullwidth forms and ligatures).
func TestPrintable(t *testing.T) {
	p := NewPen(&Picture{})
	for in, want := range map[string]string{
		"Möwe Ω ± Ж": "Möwe Ω ± Ж", "翼": "□", "翼翼翼 B3": "□×3 B3", "Ｂ３": "B3", "": "", "a\tb": "a□b", "翼a翼翼": "□a□×2",
	} {
		if got := p.printable(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
	for name, want := range map[string]string{"B3": "B3", "翼翼": "翼翼 (-20, 35)"} {
		if got := p.Placed(name, r2.Vec{X: -20, Y: 35}); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

// A dark picture can be read: the words, the greys and the inks of leads and
// parts stand out from its ground by 3 to 1 or more. Source: WCAG 2.2, relative
// luminance, and 1.4.11 Non-text Contrast.
func TestDarkInksStandOut(t *testing.T) {
	luminance := func(c interface{ RGBA() (r, g, b, a uint32) }) float64 {
		r, g, b, _ := c.RGBA()
		linear := func(v uint32) float64 {
			s := float64(v) / 0xffff
			if s <= 0.04045 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
	}
	ground := luminance(darkInk(White))
	for name, ink := range map[string]interface{ RGBA() (r, g, b, a uint32) }{"words": darkInk(Black), "grey": darkInk(Grey), "leads": darkInk(Wire), "parts": darkInk(Solid)} {
		if ratio := (luminance(ink) + 0.05) / (ground + 0.05); ratio < 3 {
			t.Errorf("%s stand out by %.2f", name, ratio)
		}
	}
}
