package main

import (
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/urfave/cli/v2"
)

func testApp() *cli.App {
	return newApp(shell{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard,
		Now: time.Now, Getenv: func(string) string { return "" }})
}

func TestArrange(t *testing.T) {
	for _, tt := range []struct{ in, want string }{
		{"map", "map --"},
		{"map craft --json", "map --json -- craft"},
		{"map --json craft", "map --json -- craft"},
		{"--json map craft", "map --json -- craft"},
		{"map craft --runs 1,2", "map --runs 1,2 -- craft"},
		{"map craft --runs=1,2", "map --runs=1,2 -- craft"},
		{"import a.csv --state unpowered craft", "import --state unpowered -- a.csv craft"},
		{"import craft - --state unpowered", "import --state unpowered -- craft -"},
		{"field --lat -33.9 --lon -.5", "field --lat -33.9 --lon -.5 --"},
		{"field --lat -1e1 --lon=-9", "field --lat -1e1 --lon=-9 --"},
		{"map -- --json", "map -- --json"},
		{"map -- -x y", "map -- -x y"},
		{"whatif craft --add-magnet 10,2,N42 --at -60,0,-20", "whatif --add-magnet 10,2,N42 --at -60,0,-20 -- craft"},
		{"help map", "map --help --"},
		{"help", "--help --"},
		{"survey --state --port", ""},
		{"template craft --spot", "template --spot= -- craft"},
		{"template --spot craft", "template --spot= -- craft"},
		{"template --spot 2 craft", "template --spot 2 -- craft"},
		{"template --spot --out a.pdf", "template --spot= --out a.pdf --"},
		{"template --spot=3 craft", "template --spot=3 -- craft"},
	} {
		got, err := arrange(testApp(), strings.Fields(tt.in))
		if tt.want == "" {
			continue
		}
		if err != nil || strings.Join(got, " ") != tt.want {
			t.Errorf("arrange(%q) = %q, %v, want %q", tt.in, got, err, tt.want)
		}
	}
}

func TestArrangeRefuses(t *testing.T) {
	for _, in := range []string{
		"--bogus", "map --bogus", "map craft --bogus", "map craft -b", "map --runs", "--bogus map", "map ---json=",
		"field --lat NaN --lon 1", "field --lat 1 --lon=inf", "field --lat 0x1p4 --lon 1", "field --lat 53,3 --lon 1",
		"field --lat 1_0 --lon 1", "field --lat= --lon 1",
	} {
		got, err := arrange(testApp(), strings.Fields(in))
		if _, ok := errors.AsType[*wrongCall](err); !ok {
			t.Errorf("arrange(%q) = %q, %v: want a wrong call", in, got, err)
		}
	}
}

// No call, whatever its words, may lose one in silence.
func FuzzArrange(f *testing.F) {
	for _, s := range []string{"map craft --json", "field --lat -3 --lon 4", "-- -", "--json=true map", "import - --state=x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, line string) {
		words := strings.Fields(line)
		got, err := arrange(testApp(), words)
		if err != nil {
			if _, ok := errors.AsType[*wrongCall](err); !ok {
				t.Fatalf("%q: %v is no wrong call", line, err)
			}
			return
		}
		kept := slices.Clone(got)
		for _, w := range words {
			if w == "--" || w == "help" {
				continue
			}
			i := slices.Index(kept, w)
			if i < 0 {
				t.Fatalf("%q: %q is lost in %q", line, w, got)
			}
			kept = slices.Delete(kept, i, i+1)
		}
	})
}
