package link

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
)

// vectors is an invented series in microtesla near (12.5, -3.25, 40).
func vectors(n int) []r3.Vec {
	rng := rand.New(rand.NewPCG(7, 0))
	out := make([]r3.Vec, n)
	for i := range out {
		out[i] = r3.Vec{X: 12.5 + 0.3*rng.NormFloat64(), Y: -3.25 + 0.3*rng.NormFloat64(), Z: 40 + 0.3*rng.NormFloat64()}
	}
	return out
}

// decodeAll feeds text at 50 lines a second, line by line.
func decodeAll(t testing.TB, o DecodeOptions, text string) ([]survey.Sample, *Decoder, []Item) {
	t.Helper()
	d := NewDecoder(o)
	var items []Item
	ts := 0.0
	for line := range strings.SplitAfterSeq(text, "\n") {
		items = d.Feed(items, []byte(line), ts)
		ts += 0.02
	}
	items = d.Flush(items, ts)
	return samplesOf(items), d, items
}

func samplesOf(items []Item) []survey.Sample {
	var out []survey.Sample
	for _, it := range items {
		if it.Kind == Reading {
			out = append(out, it.Sample)
		}
	}
	return out
}

// near checks that got are the vectors of want to the printed digits.
func near(t *testing.T, got []survey.Sample, want []r3.Vec, tol float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("got %d samples, want %d", len(got), len(want))
	}
	for i := range want {
		if d := r3.Norm(r3.Sub(got[i].B, want[i])); !(d <= tol) {
			t.Fatalf("sample %d: got %v, want %v", i, got[i].B, want[i])
		}
	}
}

// The shapes that sketches print, as printf formats of x, y, z in microtesla.
// Values are invented. div divides before printing.
var shapes = []struct {
	name, before, format string
	div                  float64
	opts                 DecodeOptions
}{
	{name: "commas", format: "%.3f,%.3f,%.3f\n"},
	{name: "semicolons", format: "%.3f;%.3f;%.3f\r\n"},
	{name: "spaces", format: " %8.3f %8.3f %8.3f\r\n"},
	{name: "tabs", format: "%.3f\t%.3f\t%.3f\n"},
	{name: "plus signs", format: "%+.3f, %+.3f, %+.3f\n"},
	{name: "exponents", format: "%e,%e,%e\n"},
	{name: "bracketed", format: "[%.3f, %.3f, %.3f]\n"},
	{name: "heading after", format: "%.3f,%.3f,%.3f,284.51\n"},
	{name: "labels, unit at the end", format: "X: %.3f  Y: %.3f  Z: %.3f  uT\n"},
	{name: "labels, unit after each", format: "X: %.3f uT, Y: %.3f uT, Z: %.3f uT\n"},
	{name: "micro sign", format: "X: %.3f µT, Y: %.3f µT, Z: %.3f µT\n"},
	{name: "g for gauss", format: "X: %.5fg  Y: %.5fg  Z: %.5fg\n", div: 100},
	{name: "gauss unlabelled", format: "%.5f %.5f %.5f\n", div: 100},
	{name: "milligauss unlabelled", format: "%.2f %.2f %.2f\n", div: 0.1},
	{name: "nanotesla unlabelled", format: "%.0f %.0f %.0f\n", div: 0.001},
	{name: "mG", format: "x=%.2f mG y=%.2f mG z=%.2f mG\n", div: 0.1},
	{name: "nT", format: "x=%.0fnT y=%.0fnT z=%.0fnT\n", div: 0.001},
	{name: "G", format: "MX:%.5f G MY:%.5f G MZ:%.5f G\n", div: 100},
	{name: "gauss spelt", format: "Bx %.5f gauss By %.5f gauss Bz %.5f gauss\n", div: 100},
	{name: "unit in brackets", format: "X (uT): %.3f Y (uT): %.3f Z (uT): %.3f\n"},
	{name: "equals and tabs, counts scaled", format: "x = %.0f\ty = %.0f\tz = %.0f\n", div: 0.01, opts: DecodeOptions{Scale: 0.01}},
	{name: "names in brackets", format: "Mag (x, y, z): (%.6f, %.6f, %.6f)\n"},
	{name: "clock in front", format: "12:31:24.615 -> Mag (x, y, z): (%.6f, %.6f, %.6f)\n"},
	{name: "nine labels", format: "Ax: 0.0312\tAy: 0.01\tAz: 0.99\tGx: 1.2\tGy: 0.3\tGz: 0.1\tMx: %.3f\tMy: %.3f\tMz: %.3f\n"},
	{name: "nine labels, upper case", format: "AX: 0.0312 AY: 0.01 AZ: 0.99 GX: 1.2 GY: 0.3 GZ: 0.1 MX: %.3f MY: %.3f MZ: %.3f\n"},
	{name: "nine numbers", format: "0.03,0.01,0.99,1.2,0.3,0.1,%.3f,%.3f,%.3f\n"},
	{name: "header, nine numbers", before: "ax,ay,az,gx,gy,gz,mx,my,mz\n", format: "0.03,0.01,0.99,1.2,0.3,0.1,%.3f,%.3f,%.3f\n"},
	{name: "header, field first", before: "mx,my,mz,ax,ay,az\n", format: "%.3f,%.3f,%.3f,0.1,0.2,0.97\n"},
	{name: "comment header", before: "# format: qw,qx,qy,qz,ax,ay,az,mx,my,mz\n", format: "1,0,0,0,0.03,0.01,0.99,%.3f,%.3f,%.3f\n"},
	{name: "header with units", before: "Bx [nT],By [nT],Bz [nT]\n", format: "%.0f,%.0f,%.0f\n", div: 0.001},
	{name: "header with suffixes", before: "bx_ut;by_ut;bz_ut\n", format: "%.3f;%.3f;%.3f\n"},
	{name: "plotter lines", format: ">magX:%.3f\n>magY:%.3f\n>magZ:%.3f\n"},
	{name: "plotter with name:value", format: "x:%.3f,y:%.3f,z:%.3f\n"},
	{name: "neighbours", format: "Acceleration: X: 0.1 Y: 0.2 Z: 9.79 m/s^2\nMagnetic Orientation:    X: %.3f  Y: %.3f  Z: %.3f  uT\nRotation: X: 0.01 Y: 0.02 Z: 0.03 rad/s\n"},
	{name: "one sensor on its own line", format: "Sensor 0\nX: %.3f Y: %.3f Z: %.3f uT\n"},
	{name: "two sensors, the first", format: "Sensor 0\nX: %.3f Y: %.3f Z: %.3f uT\nSensor 1\nX: 1.0 Y: 2.0 Z: 3.0 uT\n"},
	{name: "JSON", format: "{\"magX\": %.3f, \"magY\": %.3f, \"magZ\": %.3f}\n"},
	{name: "JSON, nested", format: "{\"acc\":{\"x\":0,\"y\":0,\"z\":1},\"mag\":{\"x\":%.3f,\"y\":%.3f,\"z\":%.3f}}\n"},
	{name: "JSON, array", format: "{\"t\":1,\"mag\":[%.3f,%.3f,%.3f],\"acc\":[0,0,1]}\n"},
	{name: "JSON, a key a line", format: "{\"mx\":%.3f}\n{\"my\":%.3f}\n{\"mz\":%.3f}\n"},
	{name: "log prefix, colours", format: "\x1b[0;32m[D][main:087]: %.3f,%.3f,%.3f\x1b[0m\n"},
	{name: "log prefix with level", format: "I (12345) mag: %.3f,%.3f,%.3f\n"},
	{name: "an axis a line", format: "MX: %.3f\nMY: %.3f\nMZ: %.3f\n"},
	{name: "an axis a line, named above", format: "Magnetometer:\nX: %.3f\nY: %.3f\nZ: %.3f\nAccelerometer:\nX: 0\nY: 0\nZ: 1\n"},
	{name: "other order", format: "z=%[3]f x=%[1]f y=%[2]f\n"},
	{name: "axes a line, other order", format: "mz: %[3]f\nmy: %[2]f\nmx: %[1]f\n--\n"},
	{name: "glued garbage", format: "x = %.3f\ty = %.3fHello\tz = %.3f\n"},
	{name: "word in front", format: "RAW %.3f %.3f %.3f\n"},
	{name: "named columns", format: "7 %.3[2]f %.3[1]f 99 %.3[3]f\n", opts: DecodeOptions{Columns: mustColumns("-,y,x,-,z")}},
	{name: "magnitude after, scaled counts", format: "%.0f,%.0f,%.0f,4203.1\n", div: 0.01, opts: DecodeOptions{Scale: 0.01, Columns: mustColumns("x,y,z,-")}},
	{name: "NUL and BOM", before: "\xef\xbb\xbf", format: "%.3f,\x00%.3f,%.3f\n"},
	{name: "CR alone", format: "%.3f,%.3f,%.3f\r"},
	{name: "LF CR", format: "%.3f,%.3f,%.3f\n\r"},
}

func mustColumns(s string) Columns {
	c, err := ParseColumns(s)
	if err != nil {
		panic(err)
	}
	return c
}

type shape = struct {
	name, before, format string
	div                  float64
	opts                 DecodeOptions
}

func TestShapes(t *testing.T) {
	vs := vectors(90)
	for i := range shapes {
		s := &shapes[i]
		t.Run(s.name, func(t *testing.T) {
			got, d, items := decodeAll(t, s.opts, shapeText(s, vs))
			if err := d.Err(); err != nil {
				t.Fatal(err)
			}
			near(t, got, vs, 0.02)
			g, ok := d.Guess()
			if !ok || g.Confidence < minConfidence || len(g.Why) == 0 {
				t.Errorf("guess %+v, decided %v", g, ok)
			}
			if n := d.Counters().Bad; n != 0 {
				t.Errorf("%d bad lines among %d items", n, len(items))
			}
		})
	}
}

func shapeText(s *shape, vs []r3.Vec) string {
	var b strings.Builder
	b.WriteString("3.1,2\n" + s.before)
	for _, v := range vs {
		if s.div != 0 {
			v = r3.Scale(1/s.div, v)
		}
		fmt.Fprintf(&b, s.format, v.X, v.Y, v.Z)
	}
	return b.String()
}

// Any chunking gives the same samples: checked against one Feed of it all.
func TestChunking(t *testing.T) {
	for i := range shapes {
		s := &shapes[i]
		text := shapeText(s, vectors(80))
		whole := NewDecoder(s.opts)
		want := samplesOf(whole.Flush(whole.Feed(nil, []byte(text), 0), 0))
		for _, r := range []io.Reader{iotest.OneByteReader(strings.NewReader(text)), iotest.HalfReader(strings.NewReader(text))} {
			d := NewDecoder(s.opts)
			var items []Item
			buf := make([]byte, 100)
			for {
				n, err := r.Read(buf)
				items = d.Feed(items, buf[:n], 0)
				if err != nil {
					break
				}
			}
			got := samplesOf(d.Flush(items, 0))
			if len(got) != len(want) || len(got) == 0 {
				t.Fatalf("%s: %d samples, want %d", s.name, len(got), len(want))
			}
			for k := range got {
				if got[k].B != want[k].B {
					t.Fatalf("%s: sample %d differs", s.name, k)
				}
			}
		}
	}
}

// What cannot be told gives no sample and names what settles it; lines of text
// alone are quoted.
func TestUndecided(t *testing.T) {
	for _, c := range []struct {
		name, line, settle string
		opts               DecodeOptions
	}{
		{"counts", "412,-96,-803\n", "link.settle-scale", DecodeOptions{}},
		{"counts with labels", "x = 412\ty = -96\tz = -803\n", "link.settle-scale", DecodeOptions{}},
		{"counts and magnitude", "412,-96,-803,907.51\n", "link.settle-scale", DecodeOptions{}},
		{"counts beside the reference", "412,-96,-803\n", "link.settle-scale", DecodeOptions{ReferenceUT: 48}},
		{"six numbers", "0.1,0.2,0.97,12.5,-3.25,40.0\n", "link.settle-columns", DecodeOptions{}},
		{"gravity", "X: 0.02g  Y: -0.03g  Z: 0.99g\n", "link.settle-columns", DecodeOptions{}},
		{"magnitude and angles", "42.1 ; 1.2 ; 0.6\n", "link.settle-columns", DecodeOptions{}},
		{"two numbers", "12.5,40.1\n", "link.settle-columns", DecodeOptions{}},
		{"wrong columns", "1,2,3,4\n", "link.settle-columns", DecodeOptions{Columns: mustColumns("x,y,z")}},
		{"all zero", "0,0,0\n", "link.settle-scale", DecodeOptions{}},
		{"no numbers", "Could not find a valid sensor, check wiring!\n", "", DecodeOptions{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, d, items := decodeAll(t, c.opts, strings.Repeat(c.line, 80))
			if len(got) != 0 {
				t.Fatalf("%d samples from what cannot be told: %v", len(got), got[0].B)
			}
			e, ok := errors.AsType[*UndecidedError](d.Err())
			if !ok || c.settle != "" && !remark.Has(e.Guess.Settle, c.settle) || c.settle == "" && e.Guess.Why[0].Values["line"] != strings.TrimSpace(c.line) {
				t.Fatalf("error %v: %v does not settle by %s", d.Err(), e, c.settle)
			}
			if n := len(items); n != 1 || items[0].Says.Code != "link.undecided" {
				t.Fatalf("%d items, want one remark", n)
			}
		})
	}
}

func TestFourNumbersWithTime(t *testing.T) {
	for _, c := range []struct {
		name   string
		format string
		unit   float64
	}{{"millis", "%.0f,%.2f,%.2f,%.2f\n", 1e3}, {"micros", "%.0f,%.2f,%.2f,%.2f\n", 1e6}, {"seconds", "%.3f,%.2f,%.2f,%.2f\n", 1}} {
		var b strings.Builder
		b.WriteString("\n")
		vs := vectors(100)
		for i, v := range vs {
			fmt.Fprintf(&b, c.format, (100+0.02*float64(i))*c.unit, v.X, v.Y, v.Z)
		}
		got, _, _ := decodeAll(t, DecodeOptions{RateHz: 7}, b.String())
		near(t, got, vs, 0.02)
		if d := got[99].TS - got[0].TS; math.Abs(d-99*0.02) > 1e-6 {
			t.Errorf("%s: 99 steps of 0.02 s took %g s", c.name, d)
		}
	}
}

// Counters of 32 bits run over after 71.6 min and 49.7 days: time goes on.
func TestClockWraps(t *testing.T) {
	for _, unit := range []float64{1e-3, 1e-6} {
		c := clock{}
		raw := math.Exp2(32) - 5*0.02/unit
		for i := range 11 {
			v := math.Mod(raw+float64(i)*0.02/unit, math.Exp2(32))
			ts := c.withOwn(v, unit, 1+0.02*float64(i))
			if want := 1 + 0.02*float64(i); math.Abs(ts-want) > 1e-5 {
				t.Fatalf("unit %g, step %d: %g, want %g", unit, i, ts, want)
			}
		}
		if c.restart {
			t.Error("a wrap was taken for a restart")
		}
	}
}

// A board's clock that is 0.5 % slow follows the host's over an hour.
func TestClockFollowsHost(t *testing.T) {
	c := clock{}
	worst := 0.0
	for i := range 50 * 3600 {
		host := 0.02 * float64(i)
		worst = max(worst, math.Abs(c.withOwn(math.Floor(host*0.995*1000), 1e-3, host)-host))
	}
	if worst > 0.05 {
		t.Errorf("up to %g s apart within an hour", worst)
	}
}

// A board's clock that stops does not stop the readings' time: two seconds
// later they go by their arrival, until the board restarts.
func TestClockThatStops(t *testing.T) {
	c := clock{}
	last := 0.0
	for i := range 50 * 30 {
		host := 0.02 * float64(i)
		own := min(host, 5) + max(0, host-12) // stands from 5 to 12 s
		if host >= 20 {
			own = host - 20
		}
		ts := c.withOwn(math.Round(own*1000), 1e-3, host)
		if late := host - ts; late < -1e-9 || late > holdS+0.05 || host > 7.1 && late > 0.03 {
			t.Fatalf("%.2f s: the reading is stamped %.3f", host, ts)
		}
		if ts < last {
			t.Fatalf("%.2f s: back from %.3f to %.3f", host, last, ts)
		}
		if c.halted != (host > 7.03) || c.stopped != (host > 7.03 && host < 20) {
			t.Fatalf("%.2f s: halted %t, stopped %t", host, c.halted, c.stopped)
		}
		last = ts
	}
}

// Clocks that count coarsely or slowly, and lines held up on their way, do not
// pass for a clock that stands still.
func TestClocksThatDoNotStop(t *testing.T) {
	for name, read := range map[string]func(s float64) (own, arrival float64){
		"whole seconds":       func(s float64) (float64, float64) { return math.Floor(s), s },
		"whole seconds, slow": func(s float64) (float64, float64) { return math.Floor(0.95 * s), s },
		"held up for 2.1 s": func(s float64) (float64, float64) {
			if s > 10 && s < 12.1 {
				return math.Floor(100*s) / 100, 12.1
			}
			return math.Floor(100*s) / 100, s
		},
	} {
		c := clock{}
		for i := range 200 * 120 {
			own, arrival := read(0.005 * float64(i))
			if c.withOwn(own, 1, arrival); c.halted {
				t.Errorf("%s: halted after %.2f s", name, arrival)
				break
			}
		}
	}
}

// A clock that stops is told of once.
func TestClockThatStopsIsToldOf(t *testing.T) {
	d := NewDecoder(DecodeOptions{})
	said := 0
	for i := range 400 {
		line := fmt.Sprintf("%d,16.1%d,-7.2%d,45.3%d\r\n", 1000+20*min(i, 150), i%7, i%5, i%3)
		for _, item := range d.Feed(nil, []byte(line), 0.02*float64(i)) {
			if item.Kind == Remark && item.Says.Code == "link.clock" {
				said++
			}
		}
	}
	if said != 1 {
		t.Errorf("told of %d times", said)
	}
}

// Lines that a USB adapter hands over in batches of 16 ms at 100 a second come
// out evenly, and never in the future or backwards.
func TestArrivalSmoothing(t *testing.T) {
	c := clock{}
	last, worst := 0.0, 0.0
	for i := range 3000 {
		true_ := 0.01 * float64(i)
		arrival := math.Ceil(true_/0.016) * 0.016
		ts := c.arrived(arrival)
		if ts < last || ts > arrival {
			t.Fatalf("sample %d: time %g after %g, arrived %g", i, ts, last, arrival)
		}
		if i > 500 {
			worst = max(worst, math.Abs(ts-last-0.01))
		}
		last = ts
	}
	if worst > 0.004 { // raw steps are 0 or 16 ms, off by up to 10 ms
		t.Errorf("steps of 10 ms are off by up to %.1f ms", worst*1e3)
	}
}

// A restart in the middle: banner, header, clock from zero; nothing of it
// becomes a sample and the rest goes on.
func TestRestartMidway(t *testing.T) {
	var b strings.Builder
	vs := vectors(200)
	b.WriteString("boot\n")
	for i, v := range vs {
		if i == 100 {
			b.WriteString("12.1,-3.\n\nets Jun  8 2016 00:22:57\n\nrst:0x1 (POWERON_RESET),boot:0x13\nSensor ready, rev 2.0.1\n# calibrated\nmillis,x,y,z\n")
		}
		fmt.Fprintf(&b, "%d,%.3f,%.3f,%.3f\n", 5000-5000*(i/100)+20*i, v.X, v.Y, v.Z)
	}
	got, d, items := decodeAll(t, DecodeOptions{}, b.String())
	near(t, got, vs, 0.01)
	if d.Counters().Restarts != 1 || count(items, "link.restart") != 1 {
		t.Errorf("restarts %d", d.Counters().Restarts)
	}
	for i := 1; i < len(got); i++ {
		if got[i].TS < got[i-1].TS {
			t.Fatalf("time ran backwards at %d", i)
		}
	}
}

func count(items []Item, code string) (n int) {
	for _, it := range items {
		if it.Kind == Remark && it.Says.Code == code {
			n++
		}
	}
	return n
}

// Lines that are no decimal numbers are counted and left out.
func TestBadLines(t *testing.T) {
	bad := []string{"nan,1,2", "1,inf,2", "ovf,ovf,ovf", "0x1f,2,3", "1_000,2,3", "1.2.3,4,5", "1,2", "1e999,2,3", "12.5,-3.25Q,40", "5-3,1,2"}
	var b strings.Builder
	b.WriteString("\n")
	vs := vectors(100)
	for i, v := range vs {
		fmt.Fprintf(&b, "%.3f,%.3f,%.3f\n", v.X, v.Y, v.Z)
		if i > 70 && i-71 < len(bad) {
			b.WriteString(bad[i-71] + "\n")
		}
	}
	got, d, _ := decodeAll(t, DecodeOptions{}, b.String())
	near(t, got, vs, 0.01)
	if n := d.Counters().Bad + d.Counters().Other; n != len(bad) {
		t.Errorf("%d lines left out, want %d", n, len(bad))
	}
}

func TestUnfinishedVector(t *testing.T) {
	text := "?\n" + strings.Repeat("MX: 10.5\nMY: 20.5\nMZ: 30.5\n", 30) + "MX: 1\nMZ: 3\n" + strings.Repeat("MX: 11\nMY: 21\nMZ: 31\n", 5)
	got, d, _ := decodeAll(t, DecodeOptions{}, text)
	if len(got) != 35 || d.Counters().Unfinished != 1 {
		t.Fatalf("%d samples, %d unfinished; want 35, 1", len(got), d.Counters().Unfinished)
	}
	if got[30].B != (r3.Vec{X: 11, Y: 21, Z: 31}) {
		t.Errorf("after the gap: %v", got[30].B)
	}
}

func TestExtras(t *testing.T) {
	var text strings.Builder
	text.WriteString("\n" + strings.Repeat("t_ms=%d\n", 0))
	for i := range 80 {
		text.WriteString(fmt.Sprintf("{\"t_ms\":%d,\"mx\":12.5,\"my\":-3.25,\"mz\":40,\"ax\":0,\"ay\":0,\"az\":9.81,\"current_a\":%d.5,\"load_on\":%t}\n", i*20, i%3, i%2 == 1))
	}
	got, d, _ := decodeAll(t, DecodeOptions{}, text.String())
	if len(got) != 80 {
		t.Fatalf("%d samples: %v", len(got), d.Err())
	}
	const want = survey.HasAcc | survey.HasCurrent | survey.HasLoadOn
	for i, s := range got {
		if s.Has != want || s.CurrentA != float64(i%3)+0.5 || s.LoadOn != (i%2 == 1) || math.Abs(s.Acc.Z-1) > 0.01 {
			t.Fatalf("sample %d: %+v", i, s)
		}
	}
	if n := d.Counters().Repeated; n != 79 {
		t.Errorf("%d repeated, want 79", n)
	}
}

func TestSeveralSensors(t *testing.T) {
	second := 1
	text := "\n" + strings.Repeat("Sensor 0\nX: 10.5 Y: 20 Z: 30 uT\nSensor 1\nX: 11.5 Y: 21 Z: 31 uT\n", 40)
	got, d, items := decodeAll(t, DecodeOptions{Sensor: &second}, text)
	if len(got) != 40 || got[0].B.X != 11.5 {
		t.Fatalf("%d samples, first %v", len(got), got)
	}
	if d.Counters().OtherSensors != 40 || count(items, "link.sensors") != 1 {
		t.Error("the other sensor was not mentioned")
	}
	got, _, _ = decodeAll(t, DecodeOptions{Columns: mustColumns("id,x,y,z")}, strings.Repeat("0,10.5,20,30\n1,1,2,3\n", 40))
	if len(got) == 0 || got[0].B.X != 1 && got[0].B.X != 10.5 || len(got) > 41 {
		t.Errorf("id column: %d samples", len(got))
	}
}

// Sentences with right checksums, invented positions.
func TestNMEAIsNoMagnetometer(t *testing.T) {
	got, d, items := decodeAll(t, DecodeOptions{}, strings.Repeat("$GPHDT,274.07,T*03\r\n$GPGSV,1,1,00*79\r\n", 20))
	if len(got) != 0 || d.Counters().NMEA != 39 || count(items, "link.nmea") != 1 || len(items) != 1 {
		t.Fatalf("samples %d, sentences %d, items %v", len(got), d.Counters().NMEA, items)
	}
}

// The packet is an encoded heartbeat, version 1, from the framing's public
// definition.
func TestBinaryFraming(t *testing.T) {
	packet := []byte{0xfe, 9, 0, 1, 1, 0, 0, 0, 0, 0, 2, 0, 0, 3, 3, 0x19, 0x85}
	_, _, items := decodeAll(t, DecodeOptions{}, string(bytes.Repeat(packet, 40)))
	if count(items, "link.binary") != 1 || count(items, "link.baud") != 0 {
		t.Errorf("items %v", items)
	}
}

func TestWrongBaud(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 0))
	noise := make([]byte, 2000)
	for i := range noise {
		noise[i] = byte(rng.UintN(256))
	}
	got, _, items := decodeAll(t, DecodeOptions{}, string(noise))
	if len(got) != 0 || count(items, "link.baud") != 1 {
		t.Errorf("%d samples, %d items", len(got), len(items))
	}
}

func TestLongLinesAreBounded(t *testing.T) {
	text := "\n" + strings.Repeat("1,", 1<<20) + "\n" + strings.Repeat("12.5,-3.25,40.5\n", 80)
	got, d, _ := decodeAll(t, DecodeOptions{}, text)
	if len(got) != 80 || d.Counters().TooLong != 1 {
		t.Errorf("%d samples, %d too long", len(got), d.Counters().TooLong)
	}
}

// The board is programmed anew while we listen: other columns are found out.
func TestShapeChanges(t *testing.T) {
	text := "\n" + strings.Repeat("12.5,-3.25,40.5\n", 100) + strings.Repeat("X: 13.5 Y: -3.25 Z: 40.5 Temp: 22 Rev: 3\n", 300)
	got, _, items := decodeAll(t, DecodeOptions{RateHz: 50}, text)
	if count(items, "link.changed") != 1 || got[len(got)-1].B.X != 13.5 {
		t.Errorf("%d changes, last %v", count(items, "link.changed"), got[len(got)-1].B)
	}
}

func TestParseColumns(t *testing.T) {
	for _, bad := range []string{"", "x,y", "x,y,z,x", "x,y,z,foo", strings.Repeat("-,", 40) + "x,y,z"} {
		if _, err := ParseColumns(bad); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
	for _, good := range []string{"x,y,z", "t_ms,-,z,y,x,ax,ay,az,on,current,id"} {
		c, err := ParseColumns(good)
		if err != nil || c.String() != good {
			t.Errorf("%q: %q, %v", good, c.String(), err)
		}
	}
}

// Sentences without numbers are quoted while time passes, once.
func TestTextOnly(t *testing.T) {
	d := NewDecoder(DecodeOptions{})
	var items []Item
	for i := range 40 {
		items = d.Feed(items, []byte("No sensor found, check wiring\r\n"), float64(i)*0.5)
	}
	if len(items) != 1 || items[0].Says.Code != "link.undecided" || d.Err() == nil || d.Err().(*UndecidedError).Guess.Why[0].Values["line"] != "No sensor found, check wiring" || items[0].TS > 6 {
		t.Errorf("items %v", items)
	}
}

// A log of several sensors with a header after a sentence; the header names
// time and sensor.
func TestHeaderWithTimeAndSensor(t *testing.T) {
	var b strings.Builder
	b.WriteString("\nCSV format: millis,id,ax,ay,az,mx,my,mz\n")
	vs := vectors(60)
	for i, v := range vs {
		fmt.Fprintf(&b, "%d,1,0.1,0.2,9.79,%.3f,%.3f,%.3f\n%d,2,0,0,0,1,1,1\n", 1000+20*i, v.X, v.Y, v.Z, 1000+20*i)
	}
	got, d, _ := decodeAll(t, DecodeOptions{RateHz: 5, ReferenceUT: 45}, b.String())
	near(t, got, vs, 0.002)
	if g, _ := d.Guess(); g.Columns != "t_ms,id,ax,ay,az,x,y,z" {
		t.Errorf("columns %s", g.Columns)
	}
	if ts := got[59].TS - got[0].TS; math.Abs(ts-59*0.02) > 1e-6 || math.Abs(got[0].Acc.Z-1) > 0.01 {
		t.Errorf("%g s, acceleration %v", ts, got[0].Acc)
	}
}

// Magnitude and two angles of a probe that is turned are not x, y, z.
func TestPolarIsRefused(t *testing.T) {
	var b strings.Builder
	b.WriteString("\n")
	for i := range 80 {
		fmt.Fprintf(&b, "%.1f ; %.1f ; %.1f\n", 48.1+0.1*float64(i%3), -170+4*float64(i), 60+0.5*float64(i))
	}
	got, d, _ := decodeAll(t, DecodeOptions{}, b.String())
	if e, ok := errors.AsType[*UndecidedError](d.Err()); len(got) != 0 || !ok || !remark.Has(e.Guess.Settle, "link.settle-columns") {
		t.Errorf("%d samples, %v", len(got), d.Err())
	}
}

// Ten numbers: a time and acceleration, rotation, field.
func TestTenNumbers(t *testing.T) {
	var b strings.Builder
	b.WriteString("\n")
	vs := vectors(80)
	for i, v := range vs {
		fmt.Fprintf(&b, "%d 0.01 0.02 0.99 1 2 3 %.3f %.3f %.3f\n", 20000*i, v.X, v.Y, v.Z)
	}
	got, _, _ := decodeAll(t, DecodeOptions{RateHz: 5}, b.String())
	near(t, got, vs, 0.002)
	if d := got[79].TS - got[0].TS; math.Abs(d-79*0.02) > 1e-6 {
		t.Errorf("microseconds were not recognised: %g s", d)
	}
}

// With a reference the unit is found for a probe that is off by half.
func TestUnitByReference(t *testing.T) {
	for _, c := range []struct {
		format string
		scale  float64
	}{{"%.3f %.3f %.3f\n", 1}, {"%.5f %.5f %.5f\n", 100}, {"%.1f %.1f %.1f\n", 0.1}, {"%.0f %.0f %.0f\n", 0.001}} {
		v := r3.Scale(1/c.scale, r3.Vec{X: 12.5, Y: -3.25, Z: 40})
		_, d, _ := decodeAll(t, DecodeOptions{ReferenceUT: 48}, "\n"+strings.Repeat(fmt.Sprintf(c.format, v.X, v.Y, v.Z), 70))
		if g, ok := d.Guess(); !ok || g.ScaleUT != c.scale {
			t.Errorf("%s: %+v", c.format, g)
		}
	}
	_, d, _ := decodeAll(t, DecodeOptions{ReferenceUT: 48}, "\n"+strings.Repeat("70.5 -20.25 50.1\n", 70))
	if g, ok := d.Guess(); !ok || g.Unit != "uT" || g.Confidence > 0.7 || len(g.Settle) == 0 {
		t.Errorf("a disturbed probe: %+v", g)
	}
}

// A board that prints its header once, as the port opens, must not lose it to
// the rule that the first line is half a line. Made-up lines.
func TestHeaderAsTheVeryFirstLine(t *testing.T) {
	d := NewDecoder(DecodeOptions{})
	var text strings.Builder
	text.WriteString("t_ms,bx,by,bz,current_a\r\n")
	for i := range 200 {
		text.WriteString(fmt.Sprintf("%d,%d.5,-3.25,40.0,12.5\r\n", 20*i, 12+i%2))
	}
	items := d.Flush(d.Feed(nil, []byte(text.String()), 4), 4)
	readings := 0
	for _, it := range items {
		if it.Kind != Reading {
			continue
		}
		readings++
		if it.Sample.Has&survey.HasCurrent == 0 || it.Sample.CurrentA != 12.5 {
			t.Fatalf("reading %d has no current: %+v", readings, it.Sample)
		}
	}
	if readings != 200 {
		t.Errorf("%d readings, want 200", readings)
	}
}
