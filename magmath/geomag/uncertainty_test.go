package geomag

import (
	"errors"
	"math"
	"testing"
)

// Source: Chulliat et al. (2025), section 3.4 with eq. 43: 137, 89, 141, 133,
// 138 nT, 0.20 deg, and 0.29 deg of D at H = 41 875 nT. The other values of D
// are the formula sqrt(0.26^2 + (5417/H)^2) worked by hand.
func TestUncertainty(t *testing.T) {
	u := Uncertainty(Elements{H: 41875})
	want := Elements{X: 137, Y: 89, Z: 141, H: 133, F: 138, I: 0.20, D: u.D}
	if u != want {
		t.Errorf("got %+v, want %+v", u, want)
	}
	equalWithin(t, "D at 41875 nT", u.D, 0.29, 0.005)
	for _, c := range []struct{ h, d, tol float64 }{
		{2000, 2.72, 0.005}, {6000, 0.94, 0.005}, {10000, 0.60, 0.005}, {20000, 0.375, 0.0005}, {30000, 0.317, 0.0005},
		{20, 180, 0}, {0, 180, 0}, // capped, as the published software does
	} {
		equalWithin(t, "D", Uncertainty(Elements{H: c.h}).D, c.d, c.tol)
	}
}

// Outside the term the error grows by 30 nT a year in quadrature, worked by hand;
// within it nothing changes.
func TestUncertaintyBeyond(t *testing.T) {
	e := Elements{H: 20000, F: 50000}
	if UncertaintyBeyond(e, 0) != Uncertainty(e) {
		t.Error("it grows within the term")
	}
	u := UncertaintyBeyond(e, 4)
	equalWithin(t, "H", u.H, 179.134, 0.001) // hypot(133, 120)
	equalWithin(t, "F", u.F, 182.877, 0.001) // hypot(138, 120)
	equalWithin(t, "D", u.D, 0.5091, 0.0001) // hypot(0.37539, 0.34377)
	equalWithin(t, "I", u.I, 0.2427, 0.0001) // hypot(0.2, 0.13751)
	m := WMM2025()
	for _, c := range []struct{ year, want float64 }{{m.ValidFrom(), 0}, {m.ValidTo(), 0}, {m.ValidFrom() - 1.5, 1.5}, {m.ValidTo() + 3, 3}} {
		equalWithin(t, "years", m.YearsOutside(c.year), c.want, 1e-9)
	}
	if !math.IsNaN(m.YearsOutside(math.NaN())) {
		t.Error("no year at all lies within the term")
	}
}

// Source for the limits: Chulliat et al. (2025), section 1.8. The two places
// are the published test points in either zone.
func TestZones(t *testing.T) {
	for _, c := range []struct {
		h    float64
		want Zone
	}{
		{20000, "ok"}, {6000, "ok"}, {5999.9, "caution"}, {2164.3, "caution"}, {2000, "caution"},
		{1999.9, "blackout"}, {1504.3, "blackout"}, {0, "blackout"}, {math.NaN(), "blackout"},
	} {
		if got := ZoneOf(c.h); got != c.want {
			t.Errorf("ZoneOf(%g) = %s, want %s", c.h, got, c.want)
		}
	}
	m := WMM2025()
	if z := ZoneOf(m.At(Place{89, -121, 28e3}, 2025).H); z != ZoneBlackout {
		t.Errorf("89N 121W: %s", z)
	}
	if z := ZoneOf(m.At(Place{80, -96, 48e3}, 2025).H); z != ZoneCaution {
		t.Errorf("80N 96W: %s", z)
	}
}

func TestValidity(t *testing.T) {
	m := WMM2025()
	if m.ValidFrom() != 2025 || m.ValidTo() != 2030 {
		t.Errorf("valid %g to %g", m.ValidFrom(), m.ValidTo())
	}
	for _, c := range []struct {
		year, alt float64
		warnings  int
	}{
		{2025, 0, 0}, {2030, 850e3, 0}, {2027, -1000, 0},
		{2024.99, 0, 1}, {2030.01, 0, 1}, {2027, -1001, 1}, {2027, 850001, 1},
		{2031, 1e6, 2}, {math.NaN(), math.NaN(), 2},
	} {
		if w := m.Validity(c.year, c.alt); len(w) != c.warnings {
			t.Errorf("%g, %g m: %v, want %d warnings", c.year, c.alt, w, c.warnings)
		}
	}
}

func TestPlaceCheck(t *testing.T) {
	for _, p := range []Place{{90, 360, 0}, {-90, -180, -20e3}, {0, 0, 100e6}} {
		if err := p.Check(); err != nil {
			t.Errorf("%+v: %v", p, err)
		}
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, p := range []Place{{90.1, 0, 0}, {-91, 0, 0}, {0, 360.5, 0}, {0, -181, 0}, {0, 0, -30e3}, {0, 0, 2e8}, {nan, 0, 0}, {0, nan, 0}, {0, 0, inf}} {
		if _, ok := errors.AsType[*RangeError](p.Check()); !ok {
			t.Errorf("%+v: %v", p, p.Check())
		}
	}
}
