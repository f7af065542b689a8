package pdf

// Paper is an upright paper size in millimetres.
type Paper struct {
	Name          string
	Width, Height float64
}

// A4 returns the size A4 of ISO 216.
func A4() Paper { return Paper{"a4", 210, 297} }

// Letter returns the size A (8.5 by 11 inches) of ANSI/ASME Y14.1.
func Letter() Paper { return Paper{"letter", 215.9, 279.4} }

// PaperOf returns the paper of a name, a4 or letter, and reports whether it exists.
func PaperOf(name string) (Paper, bool) {
	for _, p := range []Paper{A4(), Letter()} {
		if p.Name == name {
			return p, true
		}
	}
	return Paper{}, false
}
