package pdf

// Paper is a size of paper in millimetres, upright.
type Paper struct {
	Name          string
	Width, Height float64
}

// A4 is that of ISO 216, Letter that of ANSI/ASME Y14.1 (8.5 by 11 inches).
func A4() Paper     { return Paper{"a4", 210, 297} }
func Letter() Paper { return Paper{"letter", 215.9, 279.4} }

// PaperOf is the paper of a name, a4 or letter; false where there is no such.
func PaperOf(name string) (Paper, bool) {
	for _, p := range []Paper{A4(), Letter()} {
		if p.Name == name {
			return p, true
		}
	}
	return Paper{}, false
}
