package logbook_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
)

func TestReadersTolerate(t *testing.T) {
	capture2 := strings.Replace(logbooktest.CaptureLine, `"capture":1`, `"capture":2,"later":{"a":[1,2]}`, 1)
	capture2 = strings.Replace(capture2, `"bz_ut"]`, `"bz_ut","temperature_c","load_on"]`, 1)
	capture2 = strings.Replace(capture2, `[[0,17,-3,44],[0.05,17.5,-3.25,44]]`, `[[0,17,-3,44,21.5,1],[ 0.05 , 17.5,-3.25,4.4e1,null,null ]]`, 1)
	text := "\ufeff" + strings.Replace(logbooktest.HeaderLine, `"run":1`, `"run":1,"weather":"fair"`, 1) + "\r\n" +
		logbooktest.CaptureLine + `{"kind":"thermometer","value":21}` + "\n" + capture2 +
		`{"kind":"void","capture":1,"why":""}` + "\n" + `{"kind":"note","about":"joke","text":"x"}` + "\n"
	for _, in := range []string{text, strings.ReplaceAll(text, "\n", "\r\n")} {
		run, err := logbook.ReadRun(iotest.OneByteReader(strings.NewReader(in)), "x.jsonl")
		if err != nil {
			t.Fatal(err)
		}
		if len(run.Captures) != 2 || run.Captures[0].Void != "no reason given" || run.Notes[0].Kind != "joke" {
			t.Errorf("%+v", run)
		}
		if len(run.Warnings) != 1 || !reflect.DeepEqual(run.Warnings[0], remark.New("logbook.unknown-line", remark.Values{"kind": "thermometer"}).At(remark.Place{File: "x.jsonl", Line: 4})) {
			t.Errorf("warnings %v", run.Warnings)
		}
		s := run.Captures[1].Samples
		if s[0].Has != survey.HasLoadOn || !s[0].LoadOn || s[1].Has != 0 || s[1].B != (r3.Vec{X: 17.5, Y: -3.25, Z: 44}) || s[1].TS != 0.05 {
			t.Errorf("samples %+v", s)
		}
	}
}

func TestReadersRefuse(t *testing.T) {
	capture := func(old, new string) string { return strings.Replace(logbooktest.CaptureLine, old, new, 1) }
	tests := []struct {
		name, text string
		line       int
		say        string
	}{
		{"nothing", "", 1, "no whole header line"},
		{"no header", logbooktest.CaptureLine, 1, "no whole header line"},
		{"capture before the header", logbooktest.CaptureLine + logbooktest.HeaderLine, 1, `kind "capture"`},
		{"newer", strings.Replace(logbooktest.HeaderLine, `"format":1`, `"format":2`, 1), 1, "newer format: format 2, this program reads up to 1"},
		{"no format", strings.Replace(logbooktest.HeaderLine, `"format":1,`, ``, 1), 1, "no format number"},
		{"no state", strings.Replace(logbooktest.HeaderLine, `unpowered`, ``, 1), 1, "no state"},
		{"two headers", logbooktest.HeaderLine + logbooktest.HeaderLine, 2, "a second header"},
		{"doubled capture", logbooktest.HeaderLine + logbooktest.CaptureLine + "\n" + logbooktest.CaptureLine, 4, "capture 1 is there twice, first in line 2"},
		{"void of nothing", logbooktest.HeaderLine + logbooktest.CaptureLine + `{"kind":"void","capture":2,"why":"x"}` + "\n", 3, "capture 2, which is not in this run"},
		{"no kind", logbooktest.HeaderLine + "{}\n", 2, `no "kind"`},
		{"not JSON", logbooktest.HeaderLine + "hello\n" + logbooktest.CaptureLine, 2, "damaged line"},
		{"binary", logbooktest.HeaderLine + "\x00\x01\n", 2, "damaged line"},
		{"a list", logbooktest.HeaderLine + "[1]\n", 2, "damaged line"},
		{"number zero", logbooktest.HeaderLine + capture(`"capture":1`, `"capture":0`), 2, "without a number"},
		{"no station", logbooktest.HeaderLine + capture(`"B2"`, `""`), 2, "no station"},
		{"NaN", logbooktest.HeaderLine + capture(`[0,17,`, `[0,NaN,`), 2, "damaged line"},
		{"NaN as text", logbooktest.HeaderLine + capture(`[0,17,`, `[0,"NaN",`), 2, "not a finite number"},
		{"infinite", logbooktest.HeaderLine + capture(`[0,17,`, `[0,1e999,`), 2, "sample 1: bx_ut: \"1e999\" is not a finite number"},
		{"infinite place", logbooktest.HeaderLine + capture(`"x_mm":60`, `"x_mm":1e999`), 2, "x_mm"},
		{"null field", logbooktest.HeaderLine + capture(`[0.05,17.5,`, `[0.05,null,`), 2, "sample 2: bx_ut is missing"},
		{"short row", logbooktest.HeaderLine + capture(`,44],[`, `],[`), 2, "sample 1: 3 values for 4 columns"},
		{"long row", logbooktest.HeaderLine + capture(`,44],[`, `,44,1],[`), 2, "more values"},
		{"no rows", logbooktest.HeaderLine + capture(`[[0,17,-3,44],[0.05,17.5,-3.25,44]]`, `{}`), 2, "a list is expected"},
		{"missing column", logbooktest.HeaderLine + capture(`"t_s"`, `"t_ms"`), 2, `no column "t_s"`},
		{"doubled column", logbooktest.HeaderLine + capture(`"bx_ut"`, `"t_s"`), 2, `column "t_s" twice`},
		{"torn mark with a wrong count", logbooktest.HeaderLine + `{"kind":"ca` + logbook.TornMark + `3,"time":"2026-06-01T09:31:00Z"}` + "\n", 2, "damaged line"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := logbook.ReadRun(strings.NewReader(tt.text), "x.jsonl")
			re, ok := errors.AsType[*logbook.RunError](err)
			if !ok || re.File != "x.jsonl" || re.Line != tt.line || !strings.Contains(err.Error(), tt.say) {
				t.Errorf("got %v; want line %d, %q", err, tt.line, tt.say)
			}
			if ok && !strings.HasPrefix(err.Error(), fmt.Sprintf("x.jsonl:%d: ", tt.line)) {
				t.Errorf("the place is not said: %v", err)
			}
		})
	}
	if _, err := logbook.ReadRun(strings.NewReader(tests[3].text), "x"); !errors.Is(err, logbook.ErrNewerFormat) {
		t.Error("a newer format cannot be told from damage")
	}
	if _, err := logbook.ReadRun(iotest.ErrReader(os.ErrPermission), "x"); !errors.Is(err, os.ErrPermission) {
		t.Errorf("a failing disk: %v", err)
	}
}

// TestLongLine: a line longer than the bound is refused, not read to the end
// of memory; one far longer than a scanner's 64 KiB is taken.
func TestLongLine(t *testing.T) {
	long := strings.Replace(logbooktest.HeaderLine, `"run":1`, `"run":1,"x":"`+strings.Repeat("a", 1<<20)+`"`, 1)
	if _, err := logbook.ReadRun(strings.NewReader(long), "x"); err != nil {
		t.Error(err)
	}
	_, err := logbook.ReadRun(&endless{}, "x")
	if err == nil || !strings.Contains(err.Error(), "x:1: a line of more than 64 MiB") {
		t.Errorf("endless: %v", err)
	}
}

type endless struct{}

func (endless) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = ' '
	}
	return len(b), nil
}

func FuzzReadRun(f *testing.F) {
	f.Add([]byte(logbooktest.HeaderLine + logbooktest.CaptureLine))
	f.Add([]byte(logbooktest.HeaderLine + logbooktest.CaptureLine + logbooktest.CaptureLine[:80] + logbook.TornMark + `80,"time":"2026-06-01T09:31:00Z"}` + "\n"))
	f.Add([]byte(logbooktest.HeaderLine + logbooktest.CaptureLine + `{"kind":"void","capture":1,"why":"lifted","time":"2026-06-01T09:32:00Z"}` + "\n" + logbooktest.CaptureLine[:40]))
	f.Fuzz(func(t *testing.T, b []byte) {
		run, err := logbook.ReadRun(bytes.NewReader(b), "fuzz")
		if err != nil {
			if _, ok := errors.AsType[*logbook.RunError](err); !ok {
				t.Fatalf("not a *RunError: %v", err)
			}
			return
		}
		var again bytes.Buffer
		h, err := logbook.EncodeHeader(run.Header)
		if err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		again.Write(h)
		for _, c := range run.Captures {
			line, err := logbook.EncodeCapture(c)
			if err != nil {
				t.Fatalf("what was read cannot be written: %v", err)
			}
			again.Write(line)
		}
		first := again.String()
		second, err := logbook.ReadRun(&again, "again")
		if err != nil {
			t.Fatalf("what was written cannot be read: %v", err)
		}
		second.Header.Run = run.Header.Run
		h, _ = logbook.EncodeHeader(second.Header)
		var text strings.Builder
		text.WriteString(string(h))
		for _, c := range second.Captures {
			line, _ := logbook.EncodeCapture(c)
			text.WriteString(string(line))
		}
		if text.String() != first {
			t.Fatalf("read and written again:\n%s\nfirst:\n%s", text.String(), first)
		}
	})
}
