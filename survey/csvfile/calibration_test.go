package csvfile

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/number"
)

func TestReadCalibrationCSV(t *testing.T) {
	want := []survey.Sample{{TS: 0, B: r3.Vec{X: 1.5, Y: -2, Z: 40.25}}, {TS: 0.02, B: r3.Vec{X: -1e1, Y: 0.5, Z: 3}}}
	for name, text := range map[string]string{
		"documented":     "t_s,bx,by,bz\n0,1.5,-2,40.25\n0.02,-1e1,0.5,3\n",
		"units, order":   "bz_ut,T_S,by_ut,bx_ut\n40.25,0,-2,1.5\n3,0.02,.5,-10\n",
		"semicolons":     "\ufefft_s;bx;by;bz\r\n0;1,5;-2;40,25\r\n0,02;-10;0,5;3\r\n",
		"more columns":   "t_s,ax,mx_uT,my_uT,mz_uT,qw\n0,9,1.5,-2,40.25,\n\n0.02,9,-10,0.5,3,\n",
		"tabs and space": "time\tx\ty\tz\n0\t1.5 \t-2\t40.25\n0.02\t-10\t0.5\t3\n",
	} {
		got, err := ReadCalibration(t.Context(), strings.NewReader(text), "in.csv")
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
}

func TestReadCalibrationCSVErrors(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "in.csv: the file is empty; its first line must be t_s,bx,by,bz"},
		{"header only", "t_s,bx,by,bz\n", "a header but no readings"},
		{"no time", "bx,by,bz\n1,2,3\n", "in.csv:1: column t_s: the column is missing"},
		{"not a number", "t_s,bx,by,bz\n0,1,2,3\n0.1,1,nan,3\n", `in.csv:3: column by: "nan" is not a number`},
		{"hexadecimal", "t_s,bx,by,bz\n0,0x1p3,2,3\n", "in.csv:2: column bx"},
		{"missing value", "t_s,bx,by,bz\n0,1,,3\n", "in.csv:2: column by: the value is missing"},
		{"short row", "t_s,bx,by,bz\n0,1,2\n", "in.csv:2: 3 values, the header has 4 columns"},
		{"decimal commas", "t_s,bx,by,bz\n0,1,5,2,3\n", "separate the columns with semicolons"},
		{"backwards", "t_s,bx,by,bz\n1,1,2,3\n0.5,1,2,3\n", "in.csv:3: column t_s: the time runs backwards"},
		{"twice", "t_s,bx,bx_ut,by,bz\n0,1,1,2,3\n", "both say bx"},
	} {
		_, err := ReadCalibration(t.Context(), strings.NewReader(c.text), "in.csv")
		if _, ok := errors.AsType[*Error](err); !ok || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func FuzzReadCalibration(f *testing.F) {
	f.Add("t_s,bx,by,bz\n0,1.5,-2,40.25\n0.02,-1e1,0.5,3\n")
	f.Add("t_s;bx;by;bz\n0;1,5;-2;40,25\n")
	f.Add("time\tx\ty\tz\n0\t1\t2\t3\n")
	f.Add("t_s,bx,by,bz\n0,1e999,2,3\n")
	f.Fuzz(func(t *testing.T, text string) {
		samples, err := ReadCalibration(t.Context(), strings.NewReader(text), "in.csv")
		if err != nil {
			if _, ok := errors.AsType[*Error](err); !ok {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		last := math.Inf(-1)
		for _, s := range samples {
			if !number.Finite(s.TS, s.B.X, s.B.Y, s.B.Z) || s.TS < last {
				t.Fatalf("took %+v after %g", s, last)
			}
			last = s.TS
		}
	})
}
