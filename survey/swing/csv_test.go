package swing

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/magmath/swing"
	"quietmount/survey"
	"quietmount/survey/csvfile"
)

var morning = time.Date(2026, time.June, 1, 9, 0, 0, 0, time.UTC)

func TestReadHeadings(t *testing.T) {
	want := "heading_deg,t_s,bx_ut,by_ut,bz_ut\n0,1,19,0.5,45\n0,1.1,19.5,0,45\n45,2,13,-13,45\n0,9,19,0,45\n"
	for name, text := range map[string]string{
		"plain":          want,
		"short names":    strings.NewReplacer("_ut", "", "heading_deg", "Heading", "t_s", "t").Replace(want),
		"decimal commas": "\ufeff# invented, by hand\n" + strings.NewReplacer(",", ";", ".", ",").Replace(want),
		"tabs, CR LF":    strings.NewReplacer(",", "\t", "\n", "\r\n").Replace(want),
		"mark, comments": "\ufeff# invented\n" + want + "\n# the end\n",
		"other columns":  "heading_deg,t_s,bx_ut,by_ut,bz_ut,weather\n0,1,19,0.5,45,dry\n0,1.1,19.5,0,45,dry\n45,2,13,-13,45,\n0,9,19,0,45,wet\n",
	} {
		d, err := ReadHeadings(strings.NewReader(text), name, morning)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if len(d) != 3 || d[0].Name != "000" || d[1].MarkDeg != 45 || d[2].Name != "000" || len(d[0].Samples) != 2 || d[0].Samples[1].B.X != 19.5 || d[1].Samples[0].Has != 0 {
			t.Errorf("%s: %+v", name, d)
		}
	}
	d, err := ReadHeadings(strings.NewReader("sun_deg,compass_deg,t_s\n12.5,40,3600\n"), "sun", morning)
	if err != nil || *d[0].SunDeg != 12.5 || *d[0].CompassDeg != 40 || !d[0].Time.Equal(morning.Add(time.Hour)) {
		t.Errorf("%+v, %v", d, err)
	}
	d, err = ReadHeadings(strings.NewReader("heading_deg,t_s,bx,by,bz,ax,ay,az\n90,0,1,2,3,0,0.1,-1\n90,1,1,2,3,,,\n"), "acc", morning)
	if err != nil || d[0].Samples[0].Acc != (r3.Vec{Y: 0.1, Z: -1}) || d[0].Samples[1].Has != 0 {
		t.Errorf("%+v, %v", d, err)
	}
}

func TestReadRefuses(t *testing.T) {
	head := "heading_deg,t_s,bx_ut,by_ut,bz_ut\n"
	for _, tt := range []struct {
		name, text   string
		line         int
		column, says string
	}{
		{"empty", "", 0, "", "empty"},
		{"only a header", head, 0, "", "no headings"},
		{"no heading", "t_s,bx,by,bz\n1,2,3,4\n", 1, "heading_deg", "missing"},
		{"half a field", "heading_deg,t_s,bx,by\n1,2,3,4\n", 1, "bz_ut", "missing"},
		{"half an acceleration", "heading_deg,t_s,bx,by,bz,ax\n1,2,3,4,5,6\n", 1, "ay_g", "missing"},
		{"misspelt", "heading_dg,t_s,bx,by,bz\n1,2,3,4,5\n", 1, "heading_dg", "is heading_deg meant?"},
		{"twice", "heading_deg,heading_deg,compass_deg\n1,2,3\n", 1, "heading_deg", "twice"},
		{"NaN", head + "0,0,1,NaN,3\n", 2, "by_ut", "not a number"},
		{"infinite", head + "0,0,1,-Inf,3\n", 2, "by_ut", "not a number"},
		{"hexadecimal", head + "0,0,1,0x1p2,3\n", 2, "by_ut", "not a number"},
		{"nothing", head + "0,0,1,,3\n", 2, "by_ut", "missing"},
		{"no such heading", head + "361,0,1,2,3\n", 2, "heading_deg", "no heading"},
		{"short row", head + "0,0,1,2\n", 2, "", "4 values, the header has 5"},
		{"time backwards", head + "0,1,1,2,3\n0,0.5,1,2,3\n", 3, "t_s", "backwards"},
		{"quote", head + "\"0,0,1,2,3\n", 2, "", "quote"},
	} {
		_, err := ReadHeadings(strings.NewReader(tt.text), "x.csv", morning)
		ce, ok := errors.AsType[*csvfile.Error](err)
		if !ok || ce.Line != tt.line || ce.Column != tt.column || !strings.Contains(err.Error(), tt.says) || !strings.HasPrefix(err.Error(), "x.csv:") {
			t.Errorf("%s: got %v; want line %d, column %q, %q", tt.name, err, tt.line, tt.column, tt.says)
		}
	}
	_, err := ReadArrow(strings.NewReader("pose,t_s,bx,by,bz\nnorth,0,1,2,3\nsideways,1,2,3,4\n"), "x.csv")
	if ce, ok := errors.AsType[*csvfile.Error](err); !ok || ce.Line != 3 || ce.Column != "pose" {
		t.Errorf("sideways: %v", err)
	}
}

func TestReadArrow(t *testing.T) {
	d, err := ReadArrow(strings.NewReader("pose,t_s,bx,by,bz\nNorth,0,1,2,3\nnose east,1,2,3,4\nS,2,1,1,1\n nose up ,3,1,1,1\n"), "x.csv")
	if err != nil || len(d) != 4 || d[0].Name != "north" || d[1].Name != "east" || d[2].Name != "south" || d[3].Name != "up" {
		t.Errorf("%+v, %v", d, err)
	}
}

func FuzzReadHeadings(f *testing.F) {
	f.Add([]byte("heading_deg,t_s,bx,by,bz,ax,ay,az\n90,0,1,2,3,0,0.1,-1\n"))
	f.Add([]byte("heading_deg;compass_deg\n0,5;359\n"))
	f.Add([]byte("\ufeffsun_deg\tt_s\tcompass_deg\n1\t2\t3\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		d, err := ReadHeadings(bytes.NewReader(b), "fuzz", morning)
		sound(t, d, err)
		if err == nil {
			// Whatever was read can be worked on without a panic.
			if r, _, err := Readings(t.Context(), d, nil, nil, Marks(0, false)); err == nil {
				_, _ = swing.Fit(r[:min(len(r), 12)], swing.Options{})
			}
		}
	})
}

func FuzzReadArrow(f *testing.F) {
	f.Add([]byte("pose,t_s,bx,by,bz\nnorth,0,19,0,45\neast,1,0,-19,45\ndown,2,45,0,-19\n"))
	f.Add([]byte("pose;t_s;bx_ut;by_ut;bz_ut\nnose up;0;1,5;2;3\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		d, err := ReadArrow(bytes.NewReader(b), "fuzz")
		sound(t, d, err)
		if err == nil {
			field := r3.Vec{X: 19, Z: 45}
			if p, err := Poses(t.Context(), d[:min(len(d), 9)], nil, field); err == nil {
				_, _ = arrow.Check(p, arrow.Options{Calibrated: true, Field: field})
			}
		}
	})
}

// sound demands a typed error, or finite dwells.
func sound(t *testing.T, dwells []Dwell, err error) {
	t.Helper()
	if err != nil {
		if _, ok := errors.AsType[*csvfile.Error](err); !ok {
			t.Fatalf("not a *survey.CSVError: %v", err)
		}
		return
	}
	for _, d := range dwells {
		if math.IsNaN(d.MarkDeg) || d.CompassDeg == nil && len(d.Samples) == 0 {
			t.Fatalf("%+v", d)
		}
		for _, s := range d.Samples {
			if !magmath.FiniteVec(s.B) || s.Has&survey.HasAcc != 0 && !magmath.FiniteVec(s.Acc) {
				t.Fatalf("%+v", s)
			}
		}
	}
}
