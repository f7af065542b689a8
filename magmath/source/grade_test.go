package source

import (
	"strings"
	"testing"
)

// FuzzGrade: no name of a grade panics, and what is known has a remanence
// that a magnet can have.
func FuzzGrade(f *testing.F) {
	for _, s := range append(Grades(), "n42sh", "ferrite", "", "N", "NSH", "N52x", " C8 ", "Y30BH", "Y30H") {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		br, e, err := Grade(s)
		if err != nil {
			if br != 0 || e != 0 || !strings.Contains(err.Error(), "not known") {
				t.Fatalf("%q: %v %v %v", s, br, e, err)
			}
			return
		}
		if !(br > 0.15 && br < 1.6) || !(e >= 0 && e < 0.1*br+0.02) {
			t.Fatalf("%q: %v +- %v T", s, br, e)
		}
	})
}
