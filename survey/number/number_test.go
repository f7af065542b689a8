package number

import "testing"

func TestNumber(t *testing.T) {
	for text, want := range map[string]float64{"-12.5": -12.5, "+3": 3, "1e-3": 0.001, ".5": 0.5, "7.": 7} {
		if got, ok := Parse(text); !ok || got != want {
			t.Errorf("%q is %g, %t; want %g", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "nan", "inf", "-Inf", "infinity", "0x1p4", "1_000", "1e999", "1,5", " 1", "--1", "e", "."} {
		if got, ok := Parse(text); ok {
			t.Errorf("%q is taken for %g", text, got)
		}
	}
}
