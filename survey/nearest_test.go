package survey

import "testing"

// The distances are the usual textbook examples for the restricted form
// (kitten and sitting 3, ca and abc 3, from memory), the others counted by
// hand.
func TestSlips(t *testing.T) {
	for _, test := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"abc", "abc", 0}, {"", "abc", 3}, {"kitten", "sitting", 3}, {"ca", "abc", 3}, {"ab", "ba", 1},
		{"lattitude_deg", "latitude_deg", 1}, {"spacign_mm", "spacing_mm", 1}, {"über", "uber", 1}, {"saturday", "sunday", 3},
	} {
		if got := slips(test.a, test.b); got != test.want {
			t.Errorf("%q to %q: %d, want %d", test.a, test.b, got, test.want)
		}
		if got := slips(test.b, test.a); got != test.want {
			t.Errorf("%q to %q: %d, want %d", test.b, test.a, got, test.want)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"unpowered", "background", "half throttle", "T"}
	for word, want := range map[string]string{"unpowerd": "unpowered", "backgruond": "background", "full": "", "t": "T", "": ""} {
		if got := Nearest(word, known); got != want {
			t.Errorf("%q: %q, want %q", word, got, want)
		}
	}
	if got := Nearest("x", nil); got != "" {
		t.Errorf("%q is near to nothing", got)
	}
}
