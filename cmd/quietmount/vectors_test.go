package main

import (
	"errors"
	"fmt"
	"math"
	"testing"
)

// FuzzPlace reads places: no panic, only a wrong call, and what is read is
// finite and comes back from its own print.
func FuzzPlace(f *testing.F) {
	for _, s := range []string{"1,2,3", "-110,0,-10", " 1 , 2.5,3e1", "", ",,", "1,2", "1,2,3,4", "NaN,0,0", "inf,0,0", "0x1p4,0,0", "1_0,2,3", "1;2;3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := placeFlag("at", s)
		if err != nil {
			if _, ok := errors.AsType[*wrongCall](err); !ok {
				t.Fatalf("%q: %v is no wrong call", s, err)
			}
			return
		}
		if x := v.X + v.Y + v.Z; math.IsNaN(x) && !math.IsNaN(v.X+v.Y) || math.IsNaN(v.X) || math.IsInf(v.Y, 0) || math.IsInf(v.Z, 0) {
			t.Fatalf("%q gives %v", s, v)
		}
		if again, err := placeFlag("at", fmt.Sprintf("%v,%v,%v", v.X, v.Y, v.Z)); err != nil || again != v {
			t.Fatalf("%q gives %v, then %v, %v", s, v, again, err)
		}
	})
}

func TestReadChosen(t *testing.T) {
	for _, bad := range []string{"0x10,0,0", "1_0,0,0", "nan,0,0", "1e7,0,0", "1,2", "0", "best"} {
		if got, err := readChosen(bad); err == nil {
			t.Errorf("%q is %+v", bad, got)
		}
	}
	if got, err := readChosen("-60, 0,-20"); err != nil || got.rank != 0 || got.at.X != -60 || got.at.Z != -20 {
		t.Errorf("a place: %+v, %v", got, err)
	}
	if got, err := readChosen("2"); err != nil || got.rank != 2 {
		t.Errorf("a rank: %+v, %v", got, err)
	}
}

func TestAxis(t *testing.T) {
	for s, want := range map[string][3]float64{"x": {1}, "-x": {-1}, "+Y": {0, 1}, " -z ": {0, 0, -1}} {
		a, err := axisOf(s)
		if v := a.Vec(); err != nil || [3]float64{v.X, v.Y, v.Z} != want {
			t.Errorf("%q: %v, %v", s, a, err)
		}
	}
	for _, s := range []string{"", "-", "xy", "--x", "up"} {
		if _, err := axisOf(s); err == nil {
			t.Errorf("%q passes", s)
		}
	}
}
