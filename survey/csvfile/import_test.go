package csvfile

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
)

func importCraft(t testing.TB) *survey.Craft {
	t.Helper()
	c, err := craftfile.Parse([]byte(logbooktest.Craft), craftfile.Name)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func unpowered() Options {
	return Options{State: survey.StateUnpowered, Started: logbooktest.Start}
}

const importHead = "capture,station,t_s,bx_ut,by_ut,bz_ut"

func mustImport(t *testing.T, text string, o Options) *Imported {
	t.Helper()
	in, err := Import(t.Context(), strings.NewReader(text), "x.csv", o, importCraft(t))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func TestImport(t *testing.T) {
	in := mustImport(t, importHead+`
1,T,0,17,-3,44
1,T,0.5,18,-3,44
2,B2,10,19,-3.25,45

2,B2,10.5,21,-3.25,45
2,B2,11,20,-3.25,45
3,B2,20,1e1,-.5,+4.5E+1
`, unpowered())
	if n := len(in.Captures); n != 3 {
		t.Fatalf("%d captures", n)
	}
	craft := importCraft(t)
	b2, _ := craft.Station("B2")
	for i, want := range []struct {
		station string
		at      r3.Vec
		visit   logbook.Visit
		samples int
		at1     float64
		b       r3.Vec
	}{
		{"T", craft.Base.At, logbook.VisitBase, 2, 0, r3.Vec{X: 17.5, Y: -3, Z: 44}},
		{"B2", b2.At, logbook.VisitStation, 3, 10, r3.Vec{X: 20, Y: -3.25, Z: 45}},
		{"B2", b2.At, logbook.VisitStation, 1, 20, r3.Vec{X: 10, Y: -.5, Z: 45}},
	} {
		c := in.Captures[i]
		if c.Number != i+1 || c.Station != want.station || c.At != want.at || c.Visit != want.visit || len(c.Samples) != want.samples || c.BUT != want.b {
			t.Errorf("capture %d: %+v", i+1, c)
		}
		if d := c.Time.Sub(logbooktest.Start); d != time.Duration(want.at1*1e9) {
			t.Errorf("capture %d: %v after the start", i+1, d)
		}
	}
	if s := in.Captures[1].Samples[1]; s != (survey.Sample{TS: 10.5, B: r3.Vec{X: 21, Y: -3.25, Z: 45}}) {
		t.Errorf("sample %+v", s)
	}
	h := in.Header
	if *h.Axes != magmath.Identity() || h.Session != "2026-06-01" || !h.Imported || h.CurrentA != nil || h.CraftSHA256 != craft.SHA256 || h.State != survey.StateUnpowered {
		t.Errorf("header %+v", h)
	}
	// Standard deviation 1 of three samples in x alone: sqrt(1/3)/sqrt(3) a component.
	if u := in.Captures[1].UncertaintyUT; math.Abs(u-1.0/3) > 1e-12 {
		t.Errorf("uncertainty %g", u)
	}
	if len(in.Warnings) != 0 {
		t.Errorf("warnings %v", in.Warnings)
	}
}

func TestImportShapes(t *testing.T) {
	want := mustImport(t, importHead+",current_a,load_on,x_mm,y_mm,z_mm\n4,mast,0.25,17.5,-3,44,1.5,1,-60,0,-240\n4,mast,0.5,17,-3,44,,,-60,0,-240\n", unpowered())
	if s := want.Captures[0].Samples; s[0].Has != survey.HasCurrent|survey.HasLoadOn || s[0].CurrentA != 1.5 || !s[0].LoadOn || s[1].Has != 0 {
		t.Fatalf("samples %+v", s)
	}
	for name, text := range map[string]string{
		"decimal commas":          "capture;station;t_s;bx_ut;by_ut;bz_ut;current_a;load_on;x_mm;y_mm;z_mm\n4;mast;0,25;17,5;-3;44;1,5;1;-60;0;-240\n4;mast;0,5;17;-3;44;;;-60;0;-240\n",
		"semicolons, points":      "capture;station;t_s;bx_ut;by_ut;bz_ut;current_a;load_on;x_mm;y_mm;z_mm\n4;mast;0.25;17.5;-3;44;1.5;1;-60;0;-240\n4;mast;0.5;17;-3;44;;;-60;0;-240\n",
		"tabs":                    "capture\tstation\tt_s\tbx_ut\tby_ut\tbz_ut\tcurrent_a\tload_on\tx_mm\ty_mm\tz_mm\n4\tmast\t0.25\t17.5\t-3\t44\t1.5\t1\t-60\t0\t-240\n4\tmast\t0.5\t17\t-3\t44\t\t\t-60\t0\t-240\n",
		"mark, CR LF, blanks":     "\ufeff\r\n" + importHead + ",current_a,load_on,x_mm,y_mm,z_mm\r\n\r\n4,mast,0.25,17.5,-3,44,1.5,1,-60,0,-240\r\n,,,,,,,,,,\r\n4,mast,0.5,17,-3,44,,,-60,0,-240",
		"quotes (RFC 4180)":       `"capture","station","t_s","bx_ut","by_ut","bz_ut","current_a","load_on","x_mm","y_mm","z_mm"` + "\n" + `"4","mast","0.25","17.5","-3","44","1.5","1","-60","0","-240"` + "\n" + `4,mast,0.5,17,-3,44,"","",-60,0,-240` + "\n",
		"spaces, capitals, order": "Station, T_s, Capture, z_mm, y_mm, x_mm, load_on, current_a, BX_uT, BY_uT, BZ_uT\nmast, 0.25, 4, -240, 0, -60, 1, 1.5, 17.5, -3, 44\nmast,0.5,4,-240,0,-60,,,17,-3,44\n",
		"another column":          importHead + ",humidity,current_a,load_on,x_mm,y_mm,z_mm\n4,mast,0.25,17.5,-3,44,damp,1.5,1,-60,0,-240\n4,mast,0.5,17,-3,44,damp,,,-60,0,-240\n",
	} {
		t.Run(name, func(t *testing.T) {
			got := mustImport(t, text, unpowered())
			if !reflect.DeepEqual(got.Captures, want.Captures) {
				t.Errorf("got %+v\nwant %+v", got.Captures, want.Captures)
			}
			if w := name == "another column"; w != (len(got.Warnings) == 1) {
				t.Errorf("warnings %v", got.Warnings)
			}
		})
	}
}

func TestImportRefuses(t *testing.T) {
	row := importHead + "\n1,B2,0,17,-3,44\n"
	tests := []struct {
		name, text   string
		line         int
		column, says string
	}{
		{"empty", "", 0, "", "the file is empty"},
		{"only blanks", "\n\n ,,\n", 0, "", "the file is empty"},
		{"only a header", importHead + "\n", 0, "", "no samples"},
		{"missing column", "capture,station,t_s,bx_ut,by_ut\n1,B2,0,1,2\n", 1, "bz_ut", "the column is missing"},
		{"misspelt column", strings.Replace(row, "bx_ut", "bx_uT_", 1), 1, "bx_ut_", "is bx_ut meant?"},
		{"misspelt option", importHead + ",curent_a\n1,B2,0,17,-3,44,5\n", 1, "curent_a", "is current_a meant?"},
		{"doubled column", importHead + ",t_s\n1,B2,0,17,-3,44,0\n", 1, "t_s", "twice"},
		{"half a place", importHead + ",x_mm,y_mm\n1,B2,0,17,-3,44,0,0\n", 1, "", "belong together"},
		{"half a place in a row", importHead + ",x_mm,y_mm,z_mm\n1,B2,0,17,-3,44,0,,0\n", 2, "", "belong together"},
		{"half an acceleration", importHead + ",ax_g,ay_g,az_g\n1,B2,0,17,-3,44,0,,1\n", 2, "", "belong together"},
		{"short row", row + "1,B2,0.5,17,-3\n", 3, "", "5 values, the header has 6 columns"},
		{"decimal commas between commas", row + "1,B2,0,5,17,5,-3,44\n", 3, "", "semicolons"},
		{"quoted decimal comma", row + `1,B2,1,"17,5",-3,44` + "\n", 3, "bx_ut", "a decimal comma needs semicolons"},
		{"thousands", "capture;station;t_s;bx_ut;by_ut;bz_ut\n1;B2;0;1.000,5;0;0\n", 2, "bx_ut", "not a number"},
		{"NaN", row + "1,B2,1,NaN,-3,44\n", 3, "bx_ut", "not a number"},
		{"infinite", row + "1,B2,1,1,-inf,44\n", 3, "by_ut", "not a number"},
		{"too large", row + "1,B2,1,1,1e999,44\n", 3, "by_ut", "not a number"},
		{"hexadecimal", row + "1,B2,1,1,0x1p3,44\n", 3, "by_ut", "not a number"},
		{"underscore", row + "1,B2,1,1,1_0,44\n", 3, "by_ut", "not a number"},
		{"a unit", row + "1,B2,1,17uT,-3,44\n", 3, "bx_ut", "not a number"},
		{"missing value", row + "1,B2,1,,-3,44\n", 3, "bx_ut", "the value is missing"},
		{"no station", row + "1,,1,1,-3,44\n", 3, "station", "the value is missing"},
		{"capture zero", row + "0,B2,1,1,-3,44\n", 3, "capture", "no capture number"},
		{"half a capture", row + "1.5,B2,1,1,-3,44\n", 3, "capture", "no capture number"},
		{"unknown station", row + "2,Q99,1,1,-3,44\n", 3, "station", `"Q99"`},
		{"two stations", row + "1,B3,1,1,-3,44\n", 3, "station", "at B2 in an earlier row and at B3 here"},
		{"two places", importHead + ",x_mm,y_mm,z_mm\n1,B2,0,17,-3,44,0,0,0\n1,B2,1,17,-3,44,0,0,5\n", 3, "", "earlier row"},
		{"time backwards", row + "1,B2,-0.5,17,-3,44\n", 3, "t_s", "runs backwards"},
		{"load_on", importHead + ",load_on\n1,B2,0,17,-3,44,yes\n", 2, "load_on", "not a number"},
		{"load_on 2", importHead + ",load_on\n1,B2,0,17,-3,44,2\n", 2, "load_on", "must be 0 or 1"},
		{"prompt_on 2", importHead + ",prompt_on\n1,B2,0,17,-3,44,2\n", 2, "prompt_on", "must be 0 or 1"},
		{"open quote", row + "1,\"B2,0,17,-3,44\n", 3, "", "quote"},
		{"UTF-16", "\xff\xfec\x00a\x00", 0, "", "UTF-16"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Import(t.Context(), strings.NewReader(tt.text), "x.csv", unpowered(), importCraft(t))
			ie, ok := errors.AsType[*Error](err)
			if !ok || ie.Line != tt.line || ie.Column != tt.column || !strings.Contains(err.Error(), tt.says) || !strings.HasPrefix(err.Error(), "x.csv:") {
				t.Errorf("got %v; want line %d, column %q, %q", err, tt.line, tt.column, tt.says)
			}
		})
	}
}

func TestImportOptions(t *testing.T) {
	text := importHead + "\n1,B2,0,17,-3,44\n"
	for name, spoil := range map[string]func(*Options){
		"no state":          func(o *Options) { o.State = "" },
		"unknown state":     func(o *Options) { o.State = "left thrusters" },
		"pulsed background": func(o *Options) { o.State, o.Pulsed = survey.StateBackground, true },
		"substitute":        func(o *Options) { o.Substitute = true },
		"current off":       func(o *Options) { o.CurrentA = new(3.0) },
		"negative":          func(o *Options) { o.State, o.CurrentA = "left thruster", new(-3.0) },
		"NaN current":       func(o *Options) { o.State, o.CurrentA = "left thruster", new(math.NaN()) },
		"nose":              func(o *Options) { o.NoseDeg = new(361.0) },
		"no start":          func(o *Options) { o.Started = time.Time{} },
	} {
		o := unpowered()
		spoil(&o)
		if _, err := Import(t.Context(), strings.NewReader(text), "x.csv", o, importCraft(t)); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	o := unpowered()
	o.State, o.CurrentA = "left thruster", new(25.0)
	if in := mustImport(t, text, o); len(in.Warnings) != 1 || in.Header.CurrentA == nil || *in.Header.CurrentA != 25 {
		t.Errorf("more than the maximum: %v", in.Warnings)
	}
	o.CurrentA, o.State = new(0.0), survey.StateUnpowered
	if in := mustImport(t, text, o); in.Header.CurrentA == nil {
		t.Error("a current of zero is a current")
	}
	if _, err := Import(t.Context(), strings.NewReader(text), "x.csv", unpowered(), nil); err == nil {
		t.Error("without a craft, a station without a place was accepted")
	}
}

func TestImportClocks(t *testing.T) {
	in := mustImport(t, importHead+"\n1,B2,0,17,-3,44\n1,B2,6,17,-3,44\n2,B3,0,17,-3,44\n2,B3,6,17,-3,44\n3,B2,0,17,-3,44\n", unpowered())
	for i, want := range []float64{0, 26, 52} {
		if d := in.Captures[i].Time.Sub(logbooktest.Start).Seconds(); d != want {
			t.Errorf("capture %d %g s after the start, want %g", i+1, d, want)
		}
	}
	if len(in.Warnings) != 1 || in.Warnings[0].Code != "import.clock-restarts" {
		t.Errorf("warnings %v", in.Warnings)
	}
	if in.Captures[1].Samples[0].TS != 0 {
		t.Error("the samples' own times were changed")
	}
}

func TestImportPulsed(t *testing.T) {
	o := unpowered()
	o.State, o.Pulsed, o.CurrentA = "left thruster", true, new(10.0)
	in := mustImport(t, importHead+"\n1,B2,100,17,-3,44\n1,B2,113,17,-3,44\n", o)
	want := []logbook.Prompt{{TS: 103, On: true}, {TS: 106, On: false}, {TS: 109, On: true}, {TS: 112, On: false}}
	if !reflect.DeepEqual(in.Captures[0].Prompts, want) || len(in.Warnings) != 1 || *in.Header.Rhythm != logbook.DefaultRhythm() {
		t.Errorf("prompts %v, warnings %v", in.Captures[0].Prompts, in.Warnings)
	}
	in = mustImport(t, importHead+",load_on\n1,B2,100,17,-3,44,0\n1,B2,113,17,-3,44,1\n", o)
	if in.Captures[0].Prompts != nil || len(in.Warnings) != 0 {
		t.Errorf("labelled: prompts %v, warnings %v", in.Captures[0].Prompts, in.Warnings)
	}
	in = mustImport(t, importHead+",prompt_on\n1,B2,1,17,-3,44,0\n1,B2,2,17,-3,44,1\n1,B2,3,17,-3,44,1\n1,B2,4,17,-3,44,0\n", o)
	if !reflect.DeepEqual(in.Captures[0].Prompts, []logbook.Prompt{{TS: 2, On: true}, {TS: 4, On: false}}) {
		t.Errorf("prompted: %v", in.Captures[0].Prompts)
	}
}

func TestSaveImport(t *testing.T) {
	dir := logbooktest.Folder(t)
	logbooktest.Close(t, logbooktest.Create(t, dir, logbooktest.Header(survey.StateBackground)))
	in := mustImport(t, importHead+",humidity\n1,B2,0,17,-3,44,1\n2,B3,10,17.125,-3,44,1\n", unpowered())
	run, err := in.Save(dir, func(r remark.Remark) string { return r.Code })
	if err != nil {
		t.Fatal(err)
	}
	if run.Header.Run != 2 || filepath.Base(run.File) != "0002-unpowered.jsonl" || !run.Ended || len(run.Captures) != 2 || run.Notes[0].Kind != logbook.NoteWarning || run.Notes[0].Text != "import.unknown-column" {
		t.Errorf("%+v", run)
	}
	if !reflect.DeepEqual(run.Captures[1].Samples, in.Captures[1].Samples) {
		t.Error("the samples have changed")
	}
	in.Captures[1].Samples[0].B.X = math.NaN()
	if _, err := in.Save(dir, func(r remark.Remark) string { return r.Code }); err == nil {
		t.Error("NaN was saved")
	}
	if files, strays, _ := logbook.RunFiles(dir); len(files) != 2 || len(strays) != 0 {
		t.Errorf("a failed import left %q %q", files, strays)
	}
	if _, _, err := logbook.ResumeRun(dir, 2, "", logbooktest.Start); !errors.Is(err, logbook.ErrNoRun) {
		t.Errorf("an imported run was resumed: %v", err)
	}
}

func TestExportComesBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 0))
	for _, has := range []survey.Has{0, survey.HasAcc, survey.HasCurrent | survey.HasLoadOn, survey.HasAcc | survey.HasCurrent | survey.HasLoadOn} {
		h := logbooktest.Header("left thruster")
		h.Axes = new(magmath.Identity())
		run := &logbook.Run{Header: h}
		for n := range 3 {
			run.Captures = append(run.Captures, logbooktest.Capture(rng, n+1, 50, has))
		}
		run.Captures[0].Samples[7].Has = 0
		run.Captures[0].Samples[7].Acc, run.Captures[0].Samples[7].CurrentA, run.Captures[0].Samples[7].LoadOn = r3.Vec{}, 0, false
		run.Captures[1].Void = "lifted"
		run.Captures[2].Station, run.Captures[2].At = `say "mast", high`, r3.Vec{X: -60.5, Z: -240}
		got := exportImport(t, run)
		if len(got.Captures) != 2 {
			t.Fatalf("%d captures", len(got.Captures))
		}
		for i, want := range run.Valid() {
			c := got.Captures[i]
			if c.Number != want.Number || c.Station != want.Station || c.At != want.At || !reflect.DeepEqual(c.Samples, want.Samples) {
				t.Errorf("has %b: capture %d has changed", has, want.Number)
			}
		}
	}
}

func exportImport(t *testing.T, run *logbook.Run) *Imported {
	t.Helper()
	var b bytes.Buffer
	if err := Export(&b, run); err != nil {
		t.Fatal(err)
	}
	in, err := Import(t.Context(), &b, "x.csv", Options{State: run.Header.State, Pulsed: run.Header.Pulsed, Started: logbooktest.Start}, importCraft(t))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func TestExportTurnsAndPrompts(t *testing.T) {
	h := logbooktest.Header("left thruster") // the sensor's x points right, its y aft
	h.Pulsed = true
	h.Correction = &survey.Correction{OffsetUT: [3]float64{1}, Matrix: magmath.Diagonal(2, 1, 1)}
	c := logbooktest.Capture(rand.New(rand.NewPCG(3, 0)), 1, 1, 0)
	c.Samples = nil
	for i := range 10 {
		c.Samples = append(c.Samples, survey.Sample{TS: float64(i), B: r3.Vec{X: 11, Y: 7, Z: 40}, Acc: r3.Vec{X: 0.5, Z: -1}, Has: survey.HasAcc})
	}
	c.Prompts = []logbook.Prompt{{TS: 2, On: true}, {TS: 4.5}, {TS: 7, On: true}}
	in := exportImport(t, &logbook.Run{Header: h, Captures: []logbook.Capture{c}})
	got := in.Captures[0]
	if s := got.Samples[0]; s.B != (r3.Vec{X: -7, Y: 20, Z: 40}) || s.Acc != (r3.Vec{Y: 0.5, Z: -1}) {
		t.Errorf("%+v", s)
	}
	if want := []logbook.Prompt{{TS: 2, On: true}, {TS: 5}, {TS: 7, On: true}}; !reflect.DeepEqual(got.Prompts, want) {
		t.Errorf("prompts %v, want %v", got.Prompts, want)
	}
	h.Axes = nil
	in = exportImport(t, &logbook.Run{Header: h, Captures: []logbook.Capture{c}})
	if s := in.Captures[0].Samples[0]; s.B != (r3.Vec{X: 20, Y: 7, Z: 40}) {
		t.Errorf("without axes: %+v", s)
	}
	if err := Export(failingWriter{}, &logbook.Run{Header: h, Captures: []logbook.Capture{c}}); !errors.Is(err, os.ErrClosed) {
		t.Errorf("a closed pipe: %v", err)
	}
}

type failingWriter struct{}

func (failingWriter) Write([]byte) (int, error) { return 0, os.ErrClosed }

func FuzzImport(f *testing.F) {
	f.Add([]byte(importHead + ",load_on,x_mm,y_mm,z_mm\n1,B2,0,17,-3,44,1,1,2,3\n1,B2,0.5,17,-3,44,0,1,2,3\n"))
	f.Add([]byte("\ufeffcapture;station;t_s;bx_ut;by_ut;bz_ut\r\n1;T;0;1,5;-,5;1e3\r\n"))
	f.Add([]byte("capture\tstation\tt_s\tbx_ut\tby_ut\tbz_ut\tprompt_on\n1\t\"T\"\t0\t1\t2\t3\t1\n"))
	craft := importCraft(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		o := Options{State: "left thruster", Pulsed: true, Started: logbooktest.Start}
		in, err := Import(t.Context(), bytes.NewReader(b), "fuzz", o, craft)
		if err != nil {
			if _, ok := errors.AsType[*Error](err); !ok {
				t.Fatalf("not a *Error: %v", err)
			}
			return
		}
		if _, err := in.Save(t.TempDir(), func(r remark.Remark) string { return r.Code }); err != nil {
			t.Fatalf("what was imported cannot be saved: %v", err)
		}
		var out bytes.Buffer
		if err := Export(&out, &logbook.Run{Header: in.Header, Captures: in.Captures}); err != nil {
			t.Fatal(err)
		}
		again, err := Import(t.Context(), &out, "again", o, craft)
		if err != nil {
			t.Fatalf("what was exported cannot be imported: %v\n%s", err, out.String())
		}
		for i, c := range again.Captures {
			if !reflect.DeepEqual(c.Samples, in.Captures[i].Samples) || c.Number != in.Captures[i].Number {
				t.Fatalf("capture %d has changed", c.Number)
			}
		}
	})
}
