package craftfile

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/number"
)

// FuzzParse: any bytes give an error that is wholly of our type and has a
// place in the file, or a craft on which everything that others rely on holds.
func FuzzParse(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte(strings.ReplaceAll(small, "\n", "\r\n")))
	f.Add([]byte("a.b.c = [[1,5], {x = nan, y = 0x1p-2}]\n[[a.d]]\n[a.d.e]\n"))
	src, err := os.ReadFile(filepath.Join("..", "..", "testdata", "craft", "sandpiper.toml"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(src)
	for _, kind := range starterKinds() {
		src, err := Starter(StarterOptions{Kind: kind})
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src)
		f.Add(uncommented(src))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		c, err := Parse(src, "craft.toml")
		if err == nil {
			checkCraft(t, c)
			return
		}
		all, ok := errors.AsType[Mistakes](err)
		if !ok || len(all) == 0 || c != nil {
			t.Fatalf("%T %v with %v", err, err, c)
		}
		for _, e := range all {
			if e.Line < 1 || e.Column < 1 || e.Msg == "" || e.Line > strings.Count(string(src), "\n")+1 {
				t.Fatalf("%+v", e)
			}
		}
	})
}

func checkCraft(t *testing.T, c *survey.Craft) {
	t.Helper()
	stations := c.Stations()
	if c.Name == "" || len(stations) == 0 || len(c.Heights) == 0 || len(c.SHA256) != 64 {
		t.Fatalf("%+v", c)
	}
	if size := c.Body.OutlineMM.Bounds().Size(); c.Body.OutlineMM.Check() != nil || !(size.X > 0 && size.Y > 0) {
		t.Fatalf("outline %v", c.Body.OutlineMM)
	}
	names := map[string]bool{}
	for _, name := range c.StationNames() {
		if names[name] || nameFault(name) != "" {
			t.Fatalf("name %q", name)
		}
		names[name] = true
	}
	for _, s := range stations {
		if !magmath.FiniteVec(s.At) {
			t.Fatalf("station %+v", s)
		}
	}
	if !(math.Abs(c.Site.LatitudeDeg) <= 90 && math.Abs(c.Site.LongitudeDeg) <= 180 && c.Limits.HeadingErrorDeg > 0 && c.Limits.SteadyUT > 0) {
		t.Fatalf("%+v %+v", c.Site, c.Limits)
	}
	for _, p := range c.Parts {
		if (p.AtMM == nil) == (len(p.PathMM) < 2) || p.MassG < 0 {
			t.Fatalf("part %+v", p)
		}
		if _, ok := c.LoadByName(p.Load); p.Load != "" && !ok {
			t.Fatalf("part %+v", p)
		}
	}
	covered := map[string]bool{}
	for _, set := range c.Combinations() {
		for _, a := range set {
			covered[a] = true
			for _, b := range set {
				if !c.Together(a, b) {
					t.Fatalf("%q with %q", a, b)
				}
			}
		}
	}
	for _, l := range c.Loads {
		if !covered[l.Name] || c.State(l.Name) != nil || (l.Kind == survey.LoadCurrent) != (l.MaxCurrentA > 0) {
			t.Fatalf("load %+v", l)
		}
	}
	if axes := c.MeasuringModule().Axes; axes != nil && math.Abs(math.Abs(axes.Det())-1) > 1e-9 {
		t.Fatalf("axes %v", axes)
	}
	c.Obstacles(c.Body.OutlineMM[0])
}

// FuzzParseLength: an error, or a length that is finite and not negative and
// comes back the same when it is written in millimetres.
func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"305", "30,5 cm", `7 1/2"`, "1,200", "2 ft", "1/0", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		mm, err := ParseLength(s)
		if err != nil {
			return
		}
		if !(mm >= 0) || math.IsInf(mm, 0) {
			t.Fatalf("%q is %g", s, mm)
		}
		if again, err := ParseLength(fmt.Sprintf("%s mm", number.Format(mm))); err != nil || again != mm {
			t.Fatalf("%q is %g, then %g, %v", s, mm, again, err)
		}
	})
}

func TestRemarks(t *testing.T) {
	if r := sandpiper(t).Remarks; len(r) != 0 {
		t.Errorf("%v", r)
	}
	c, err := Parse([]byte(small+"[base]\nat_mm = [50, 50, 0]\n"), "")
	if err != nil {
		t.Fatal(err)
	}
	want := remark.New("craft.base-on-craft").At(remark.Place{Station: "base"})
	if !reflect.DeepEqual(c.Remarks, []remark.Remark{want}) {
		t.Errorf("%v", c.Remarks)
	}
}

func BenchmarkParse(b *testing.B) {
	src, err := os.ReadFile(filepath.Join("..", "..", "testdata", "craft", "sandpiper.toml"))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Parse(src, ""); err != nil {
			b.Fatal(err)
		}
	}
}
