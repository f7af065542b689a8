package text

import "testing"

// Source: Unicode Standard Annex 11, table 1: W and F take two columns; marks
// that combine take none.
func TestDisplayWidth(t *testing.T) {
	for s, want := range map[string]int{"": 0, "A1": 2, "Möwe": 4, "Mo\u0308we": 4, "東北": 4, "ＡＢ": 4, "Чайка": 5, "µT °": 4, "a\u200bb": 2} {
		if got := Width(s); got != want {
			t.Errorf("%q takes %d columns, want %d", s, got, want)
		}
	}
}

func TestClipped(t *testing.T) {
	for _, c := range []struct {
		s    string
		most int
		want string
	}{{"mast", 4, "mast"}, {"masthead", 5, "mast~"}, {"東北東", 4, "東~"}, {"東北東", 5, "東北~"}} {
		if got := Clipped(c.s, c.most); got != c.want || Width(got) > c.most {
			t.Errorf("%q in %d: %q, want %q", c.s, c.most, got, c.want)
		}
	}
}
