package swing

import (
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/magmath/heading"
	"quietmount/magmath/swing"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

func TestNamesComeBack(t *testing.T) {
	for deg, want := range map[float64]string{0: "000", 360: "000", 45: "045", 22.5: "022.5", -90: "270", 359.96: "360.0"} {
		if got := headingName(deg); got != want {
			t.Errorf("%g is %q, want %q", deg, got, want)
		}
		back, err := ParseHeading(headingName(deg))
		if err != nil || math.Abs(heading.Wrap180(back-deg)) > 0.05 {
			t.Errorf("%g comes back as %g, %v", deg, back, err)
		}
	}
	for _, bad := range []string{"", "north", "NaN", "1e9", "0x10", "1_0", "inf", "45 46"} {
		if v, err := ParseHeading(bad); err == nil {
			t.Errorf("%q is %g", bad, v)
		}
	}
	for _, p := range arrow.PoseNames() {
		if got, err := parsePose("Nose " + string(p)); err != nil || got != p {
			t.Errorf("nose %s: %v, %v", p, got, err)
		}
	}
	if l, err := ParsePoses("n, e,down"); err != nil || len(l) != 3 || l[2] != arrow.NoseDown {
		t.Errorf("%v, %v", l, err)
	}
	if l, err := parseHeadings("0,90, 180"); err != nil || len(l) != 3 || l[1] != 90 {
		t.Errorf("%v, %v", l, err)
	}
}

// still is a dwell of a few readings.
func still(name string, b, acc r3.Vec) Dwell {
	d := Dwell{Name: name}
	d.MarkDeg, _ = ParseHeading(name)
	for i := range 20 {
		s := survey.Sample{TS: float64(i) / 20, B: r3.Add(b, r3.Vec{X: 0.01 * float64(i%3-1)})}
		if acc != (r3.Vec{}) {
			s.Acc, s.Has = acc, survey.HasAcc
		}
		d.Samples = append(d.Samples, s)
	}
	return d
}

// tilted turns a vector of the room (x north, y east, z down) into a craft at
// yaw and roll (ISO 1151).
func tilted(v r3.Vec, yaw, roll float64) r3.Vec {
	s, k := math.Sincos(yaw * math.Pi / 180)
	v = r3.Vec{X: k*v.X + s*v.Y, Y: -s*v.X + k*v.Y, Z: v.Z}
	s, k = math.Sincos(roll * math.Pi / 180)
	return r3.Vec{X: v.X, Y: k*v.Y + s*v.Z, Z: -s*v.Y + k*v.Z}
}

func TestReadingsTakeOutTilt(t *testing.T) {
	field := r3.Vec{X: 19, Z: 45}
	for _, sign := range []float64{-1, 1} { // accelerometers that point up, or down
		var dwells []Dwell
		for i := range 8 {
			yaw := 45 * float64(i)
			dwells = append(dwells, still(headingName(yaw), tilted(field, yaw, 8), tilted(r3.Vec{Z: sign}, yaw, 8)))
		}
		r, remarks, err := Readings(t.Context(), dwells, nil, nil, Marks(0, false))
		if err != nil || len(r) != 8 || len(remarks) != 8 || math.Abs(remarks[0].Values["by_deg"].(float64)-8) > 0.5 {
			t.Fatalf("%v, %v, %v", r, remarks, err)
		}
		for _, x := range r {
			if math.Abs(heading.Wrap180(x.CompassDeg-x.MagneticDeg)) > 0.02 || math.Abs(x.Field.Z-45) > 0.02 {
				t.Errorf("sign %g: at %g the compass has %g, field %v", sign, x.MagneticDeg, x.CompassDeg, *x.Field)
			}
		}
	}
	// Without an accelerometer a roll of 8 degrees at dip 67 shows.
	r, _, err := Readings(t.Context(), []Dwell{still("000", tilted(field, 0, 8), r3.Vec{})}, nil, nil, Marks(0, false))
	if err != nil || math.Abs(heading.Wrap180(r[0].CompassDeg)) < 10 {
		t.Errorf("%v, %v", r, err)
	}
}

func TestCorrectionThenAxes(t *testing.T) {
	// The sensor's x points right, its y to the tail; its own offset is 30 uT.
	axes := magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}
	c := &survey.Correction{OffsetUT: [3]float64{30}, Matrix: magmath.Identity()}
	raw := r3.Add(axes.Transpose().Apply(tilted(r3.Vec{X: 19, Z: 45}, 70, 0)), r3.Vec{X: 30})
	r, _, err := Readings(t.Context(), []Dwell{still("070", raw, r3.Vec{})}, c, &axes, Marks(0, false))
	if err != nil || math.Abs(r[0].CompassDeg-70) > 0.02 {
		t.Errorf("%+v, %v", r, err)
	}
	if _, _, err := Readings(t.Context(), []Dwell{still("000", r3.Vec{Z: 45}, r3.Vec{X: 1})}, nil, nil, Marks(0, false)); err == nil {
		t.Error("a nose straight up has a heading")
	}
	if _, _, err := Readings(t.Context(), []Dwell{{Name: "000"}}, nil, nil, Marks(0, false)); err == nil {
		t.Error("no samples have a heading")
	}
}

const craftText = `name = "plank"
[site]
latitude_deg = 53.3
longitude_deg = -9.1
altitude_m = 2
date = "2026-06-01"
[module]
name = "puck"
mass_g = 24
range_ut = 800
footprint_mm = [38, 38]
sensor_height_mm = 6
[craft]
outline_mm = [[125, 65], [-125, 65], [-125, -65], [125, -65]]
surface_z_mm = -20
[grid]
spacing_mm = 60
origin_mm = [0, 0]
`

func TestReferences(t *testing.T) {
	craft, err := craftfile.Parse([]byte(craftText), "plank.toml")
	if err != nil {
		t.Fatal(err)
	}
	s := SiteOf(craft, morning)
	// A line that runs along true north lies at minus the declination.
	if l := s.Line(0); math.Abs(heading.Wrap180(l.ZeroDeg+s.DeclinationDeg)) > 1e-9 || l.SUDeg < s.DeclinationSUDeg {
		t.Errorf("%+v with declination %g", l, s.DeclinationDeg)
	}
	// The sun's azimuth there is in the table of magmath/heading: 2026-06-01
	// 10:30 UTC, 130.7393 degrees at a height of 50.8809 (npm astronomy-engine
	// 2.1.19).
	at := time.Date(2026, 6, 1, 10, 30, 0, 0, time.UTC)
	r, err := s.Sun(100, at)
	if err != nil || math.Abs(heading.Wrap180(r.ZeroDeg-(30.7393-s.DeclinationDeg))) > 0.02 || r.Kind != logbook.ReferenceSun {
		t.Errorf("%+v, %v", r, err)
	}
	if _, err := s.Sun(0, at.Add(12*time.Hour)); err == nil || !strings.Contains(err.Error(), "below the horizon") {
		t.Errorf("the sun at night: %v", err)
	}
	sun := 30.7393
	d := Dwell{Name: "a", SunDeg: &sun, CompassDeg: new(99.0), Time: at}
	each, err := s.SunEach([]Dwell{d})
	if err != nil || math.Abs(heading.Wrap180(each.magnetic(d)-(100-s.DeclinationDeg))) > 0.02 {
		t.Errorf("%g, %v", each.magnetic(d), err)
	}
	// What the poses call north may be anywhere: the field turns against it.
	f := s.Turned(90)
	if math.Abs(f.X) > 1e-9 || math.Abs(f.Y+s.FieldUT.X) > 1e-9 || f.Z != s.FieldUT.Z {
		t.Errorf("%v from %v", f, s.FieldUT)
	}
}

func TestChanges(t *testing.T) {
	before := swing.Result{Approximate: swing.Coefficients{A: 179, B: 3, C: 1}, ApproxSU: swing.Coefficients{A: 1, B: 0.3, C: 0.3, D: 0.3, E: 0.3}, DF: 1e6}
	after := before
	after.Approximate = swing.Coefficients{A: -179, B: 3 + 1.959964*0.3*math.Sqrt2, C: 1}
	c := Changes(before, after, true)
	// 1.959964 standard deviations: two-sided probability of 0.05 (any table of
	// the normal distribution).
	if len(c) != 5 || math.Abs(c[0].By-2) > 1e-9 || math.Abs(c[1].PValue-0.05) > 1e-5 || math.Abs(c[2].PValue-1) > 1e-9 {
		t.Errorf("%+v", c)
	}
	if c := Changes(before, after, false); len(c) != 4 || c[0].Name != "B" {
		t.Errorf("%+v", c)
	}
}

// Source: JCGM 100:2008 (GUM), G.4: two alike give the sum of their degrees of
// freedom, one alone its own.
func TestFreedomOfADifference(t *testing.T) {
	for _, tt := range []struct{ u, ofU, v, ofV, want float64 }{
		{1, 4, 1, 4, 8}, {1, 3, 0, 99, 3}, {0.5, 3, 0.5, 10, 4 / (1.0/3 + 0.1)}, {1, 3, 1, math.Inf(1), 12},
	} {
		if got := freedom(tt.u, tt.ofU, tt.v, tt.ofV); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%+v: %g", tt, got)
		}
	}
}

func TestRoutes(t *testing.T) {
	r := HeadingRoute(UsualHeadings(8))
	if len(r.Visits) != 9 || r.Visits[8].Station.Name != "000" || r.Visits[8].Kind != logbook.VisitRepeat || r.Visits[1].Station.Name != "045" || r.Base != nil {
		t.Errorf("%+v", r.Visits)
	}
	if got := len(UsualPoses(true, true)); got != 3 {
		t.Errorf("quick form with %d poses", got)
	}
	// The usual poses are enough for what they are meant for.
	field := r3.Vec{X: 19, Z: 45}
	for _, calibrated := range []bool{true, false} {
		for _, quick := range []bool{true, false} {
			var poses []arrow.Pose
			for _, n := range UsualPoses(quick, calibrated) {
				want, _ := n.In(field)
				poses = append(poses, arrow.Pose{Name: n, Want: want, Got: want, NoiseUT: 0.1})
			}
			if a, err := arrow.Check(poses, arrow.Options{Calibrated: calibrated, Field: field}); err != nil || a.ArrowPoints != arrow.ToNose {
				t.Errorf("quick %v, calibrated %v: %v", quick, calibrated, err)
			}
		}
	}
}
