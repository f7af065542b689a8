package geomag

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// The tolerances of the published points are their printing, 1e-6 nT and 0.01
// deg, except where the published file itself strays from its model: its north
// component by up to 7.2e-4 nT (and H and F with it), its Z by 2.2e-6, as other
// public test suites report too.
func TestPublishedPoints(t *testing.T) {
	m := WMM2025()
	tab := readTable(t, "wmm2025_points.csv")
	if len(tab.rows) != 100 {
		t.Fatalf("%d rows, want 100", len(tab.rows))
	}
	for i, r := range tab.rows {
		p := Place{number(t, r, "lat_deg"), number(t, r, "lon_deg"), 1000 * number(t, r, "height_km")}
		e := m.At(p, number(t, r, "decimal_year"))
		row := fmt.Sprintf("row %d ", i+1)
		equalWithin(t, row+"X", e.X, number(t, r, "X_nT"), 1e-3)
		equalWithin(t, row+"Y", e.Y, number(t, r, "Y_nT"), 1e-6)
		equalWithin(t, row+"Z", e.Z, number(t, r, "Z_nT"), 1e-5)
		equalWithin(t, row+"H", e.H, number(t, r, "H_nT"), 1e-3)
		equalWithin(t, row+"F", e.F, number(t, r, "F_nT"), 1e-3)
		equalWithin(t, row+"I", e.I, number(t, r, "I_deg"), 0.005)
		equalWithin(t, row+"D", angleBetween(e.D, number(t, r, "D_deg")), 0, 0.005)
	}
}

// Table 6 prints one decimal of nT and two of degrees, so half a unit is what
// it can tell; the sliver on top is for a value that lies on the edge.
func TestPublishedRates(t *testing.T) {
	m := WMM2025()
	tab := readTable(t, "wmm2025_table6.csv")
	if len(tab.rows) != 12 {
		t.Fatalf("%d rows, want 12", len(tab.rows))
	}
	const nt, deg = 0.05 + 1e-6, 0.005 + 1e-6
	for i, r := range tab.rows {
		p := Place{number(t, r, "lat_deg"), number(t, r, "lon_deg"), 1000 * number(t, r, "height_km")}
		e := m.At(p, number(t, r, "decimal_year"))
		for _, c := range []struct {
			column   string
			got, tol float64
		}{
			{"X_nT", e.X, nt}, {"Y_nT", e.Y, nt}, {"Z_nT", e.Z, nt}, {"H_nT", e.H, nt}, {"F_nT", e.F, nt},
			{"I_deg", e.I, deg}, {"D_deg", e.D, deg},
			{"Xdot_nT_yr", e.DotX, nt}, {"Ydot_nT_yr", e.DotY, nt}, {"Zdot_nT_yr", e.DotZ, nt},
			{"Hdot_nT_yr", e.DotH, nt}, {"Fdot_nT_yr", e.DotF, nt},
			{"Idot_deg_yr", e.DotI, deg}, {"Ddot_deg_yr", e.DotD, deg},
		} {
			equalWithin(t, fmt.Sprintf("row %d %s", i+1, c.column), c.got, number(t, r, c.column), c.tol)
		}
	}
}

// An independent implementation in another language, from a package registry;
// testdata names it. It rounds the polar radius to 0.1 mm, 7e-12 of the distance
// and so up to 1.3e-6 nT of the field; the table is printed to 1e-6 nT. It also
// takes the latitude through an arcsine, which 1e-4 degrees from a pole leaves
// 6e-11 rad of a change of 1e5 nT a radian.
func TestAgainstAnotherImplementation(t *testing.T) {
	m := WMM2025()
	tab := readTable(t, "geomagnetism-0.2.0.csv.gz")
	if len(tab.rows) < 3000 {
		t.Fatalf("only %d rows", len(tab.rows))
	}
	for i, r := range tab.rows {
		p := Place{number(t, r, "lat_deg"), number(t, r, "lon_deg"), number(t, r, "alt_m")}
		tol := 3e-6
		if math.Abs(p.LatitudeDeg) > 89 {
			tol = 1e-5
		}
		e := m.At(p, number(t, r, "decimal_year"))
		row := fmt.Sprintf("row %d %+v ", i+1, p)
		equalWithin(t, row+"X", e.X, number(t, r, "X_nT"), tol)
		equalWithin(t, row+"Y", e.Y, number(t, r, "Y_nT"), tol)
		equalWithin(t, row+"Z", e.Z, number(t, r, "Z_nT"), tol)
	}
}

// Source: Chulliat et al. (2025), section 1.4: the field at the poles at 2025.0
// on longitude 0 and the sphere of 6371.2 km, printed to 0.1 nT.
func TestPublishedPoles(t *testing.T) {
	const polarRadiusM = semiMajorKM * (1 - flattening) * 1000
	m := WMM2025()
	for _, c := range []struct{ lat, x, y, z float64 }{
		{90, 1709.5, 417.8, 56517.5},
		{-90, 14185.8, -8732.7, -51366.5},
	} {
		e := m.At(Place{c.lat, 0, referenceRadiusKM*1000 - polarRadiusM}, 2025)
		equalWithin(t, fmt.Sprintf("%g X", c.lat), e.X, c.x, 0.05)
		equalWithin(t, fmt.Sprintf("%g Y", c.lat), e.Y, c.y, 0.05)
		equalWithin(t, fmt.Sprintf("%g Z", c.lat), e.Z, c.z, 0.05)
	}
}

// Across a pole the meridian changes by 180 degrees and X and Y turn round; at
// the date line nothing happens. A step of 1e-9 degrees is 0.1 mm, over which
// the field changes by less than 1e-5 nT.
func TestContinuity(t *testing.T) {
	m := WMM2025()
	const step, tol = 1e-9, 1e-5
	near := func(what string, a, b Elements, sign float64) {
		t.Helper()
		equalWithin(t, what+" X", a.X, sign*b.X, tol)
		equalWithin(t, what+" Y", a.Y, sign*b.Y, tol)
		equalWithin(t, what+" Z", a.Z, b.Z, tol)
		equalWithin(t, what+" DotX", a.DotX, sign*b.DotX, tol)
		equalWithin(t, what+" DotZ", a.DotZ, b.DotZ, tol)
	}
	for _, lat := range []float64{90, -90} {
		inner := lat * (1 - step/90)
		for _, lon := range []float64{-180, -33, 0, 77, 145} {
			pole := m.At(Place{lat, lon, 500}, 2026.5)
			near("pole", pole, m.At(Place{inner, lon, 500}, 2026.5), 1)
			near("over the pole", pole, m.At(Place{inner, lon + 180, 500}, 2026.5), -1)
		}
	}
	for _, lat := range []float64{-71, -12, 0, 48, 90} {
		east := m.At(Place{lat, 180, 0}, 2026.5)
		near("date line", east, m.At(Place{lat, -180, 0}, 2026.5), 1)
		near("date line", east, m.At(Place{lat, 180 - step, 0}, 2026.5), 1)
		near("date line", east, m.At(Place{lat, -180 + step, 0}, 2026.5), 1)
	}
	near("whole turn", m.At(Place{48, 350, 0}, 2026.5), m.At(Place{48, -10, 0}, 2026.5), 1)
}

// Rates against central differences of the elements themselves. The components
// are linear in time, so a difference of two years has rounding error only; the
// others have a third derivative, small over 0.02 years away from H = 0.
func TestRatesByDifferences(t *testing.T) {
	m := WMM2025()
	r := rand.New(rand.NewPCG(12, 0))
	const h = 0.01
	for range 300 {
		p := Place{r.Float64()*170 - 85, r.Float64()*360 - 180, r.Float64() * 5e5}
		year := 2025.5 + 4*r.Float64()
		e, a, b := m.At(p, year), m.At(p, year-h), m.At(p, year+h)
		slope := func(a, b float64) float64 { return (b - a) / (2 * h) }
		equalWithin(t, "DotX", e.DotX, slope(a.X, b.X), 1e-7)
		equalWithin(t, "DotY", e.DotY, slope(a.Y, b.Y), 1e-7)
		equalWithin(t, "DotZ", e.DotZ, slope(a.Z, b.Z), 1e-7)
		if e.H < 5000 {
			continue
		}
		equalWithin(t, "DotH", e.DotH, slope(a.H, b.H), 1e-6)
		equalWithin(t, "DotF", e.DotF, slope(a.F, b.F), 1e-6)
		equalWithin(t, "DotD", e.DotD, math.Remainder(b.D-a.D, 360)/(2*h), 1e-6)
		equalWithin(t, "DotI", e.DotI, slope(a.I, b.I), 1e-6)
	}
}

// Outside the Earth the field has no divergence and no curl, whatever the
// coefficients: tested on the sphere-fixed components by differences over
// 2 km, whose truncation is some 1e-6 of a gradient of 30 nT/km.
func TestLaplace(t *testing.T) {
	m := WMM2025()
	const h = 1.0 // km
	r := rand.New(rand.NewPCG(3, 0))
	for range 50 {
		x := [3]float64{}
		lat, lon := math.Asin(2*r.Float64()-1), 2*math.Pi*r.Float64()
		x[0], x[1], x[2] = 6700*math.Cos(lat)*math.Cos(lon), 6700*math.Cos(lat)*math.Sin(lon), 6700*math.Sin(lat)
		var grad [3][3]float64
		for j := range 3 {
			up, down := x, x
			up[j] += h
			down[j] -= h
			a, b := cartesian(m, up), cartesian(m, down)
			for i := range 3 {
				grad[i][j] = (a[i] - b[i]) / (2 * h)
			}
		}
		equalWithin(t, "divergence", grad[0][0]+grad[1][1]+grad[2][2], 0, 1e-5)
		equalWithin(t, "curl x", grad[2][1]-grad[1][2], 0, 1e-5)
		equalWithin(t, "curl y", grad[0][2]-grad[2][0], 0, 1e-5)
		equalWithin(t, "curl z", grad[1][0]-grad[0][1], 0, 1e-5)
	}
}

// cartesian is the field in Earth-fixed axes at a geocentric place, km. The
// geodetic place is found by a fixed-point iteration.
func cartesian(m *Model, x [3]float64) [3]float64 {
	const e2 = flattening * (2 - flattening)
	equatorial := math.Hypot(x[0], x[1])
	lat := math.Atan2(x[2], equatorial)
	var height float64
	for range 30 {
		normal := semiMajorKM / math.Sqrt(1-e2*math.Sin(lat)*math.Sin(lat))
		height = equatorial*math.Cos(lat) + x[2]*math.Sin(lat) - semiMajorKM*semiMajorKM/normal
		lat = math.Atan2(x[2]*(normal+height), equatorial*(normal*(1-e2)+height))
	}
	lon := math.Atan2(x[1], x[0])
	e := m.At(Place{lat / degree, lon / degree, height * 1000}, 2027)
	sinLat, cosLat := math.Sincos(lat)
	sinLon, cosLon := math.Sincos(lon)
	out := -e.X*sinLat - e.Z*cosLat // away from the axis
	return [3]float64{
		out*cosLon - e.Y*sinLon,
		out*sinLon + e.Y*cosLon,
		e.X*cosLat - e.Z*sinLat,
	}
}

// An axial dipole has a closed form: Br = 2 g cos(colat) (a/r)^3 outwards and
// half of it with the sine along the meridian.
// Source: Blakely (1995), Potential Theory in Gravity and Magnetic
// Applications, chapter 8, from memory.
func TestAxialDipole(t *testing.T) {
	m := &Model{epoch: 2025, degree: 1, terms: newTerms(1)}
	m.terms[0].g = -30000
	for _, lat := range []float64{-90, -40, 0, 25, 90} {
		p := Place{lat, 20, 400e3}
		e, at := m.At(p, 2025), p.spherical()
		k := math.Pow(referenceRadiusKM/at.radiusKM, 3) * 30000
		equalWithin(t, "F", e.F, k*math.Sqrt(1+3*at.cosColat*at.cosColat), 1e-9*k)
		equalWithin(t, "Y", e.Y, 0, 1e-9)
	}
}

func TestFiniteEverywhere(t *testing.T) {
	m := WMM2025()
	for _, p := range []Place{{90, 0, 0}, {-90, 0, 0}, {0, 0, 0}, {90, 360, lowestM}, {-90, -180, highestM}, {0, 180, highestM}} {
		if err := p.Check(); err != nil {
			t.Fatal(err)
		}
		e := m.At(p, 2030)
		for _, v := range []float64{e.X, e.Y, e.Z, e.H, e.F, e.D, e.I, e.DotX, e.DotY, e.DotZ, e.DotH, e.DotF, e.DotD, e.DotI} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%+v: %+v", p, e)
				break
			}
		}
	}
	if e := m.At(Place{math.NaN(), 0, 0}, 2026); !math.IsNaN(e.F) {
		t.Errorf("NaN latitude gives F = %g", e.F)
	}
}

// No field at all: the angles have no value and nothing may be divided by it.
func TestZeroField(t *testing.T) {
	e := elements(vector{}, vector{3, 4, 12})
	want := Elements{DotX: 3, DotY: 4, DotZ: 12, DotH: 5, DotF: 13}
	if e != want {
		t.Errorf("got %+v, want %+v", e, want)
	}
}

func TestNoAllocation(t *testing.T) {
	m := WMM2025()
	var e Elements
	if n := testing.AllocsPerRun(100, func() { e = m.At(Place{53.3, -9.1, 2}, 2026.4) }); n != 0 {
		t.Errorf("%g allocations a call", n)
	}
	if e.F == 0 {
		t.Error("no field")
	}
}

func BenchmarkAt(b *testing.B) {
	m := WMM2025()
	b.ReportAllocs()
	lon := 0.0
	for b.Loop() {
		m.At(Place{53.3, lon, 2}, 2026.4)
		lon += 0.001
	}
}

func BenchmarkWMM2025(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		WMM2025()
	}
}
