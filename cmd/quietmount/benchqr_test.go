package main

import (
	"bytes"
	"strings"
	"testing"

	"rsc.io/qr"
)

// TestQRTextIsTheCode reads the half blocks back into modules.
func TestQRTextIsTheCode(t *testing.T) {
	code, err := qr.Encode("http://192.0.2.7:8123/enter?token=ABCDEFGHIJKLMNOPQRSTUVWXYZ", qr.L)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(qrText(code)), "\n")
	wide := code.Size + 2*quietZone
	if len(lines) != (wide+1)/2 {
		t.Fatalf("%d lines for %d modules", len(lines), wide)
	}
	for row, line := range lines {
		cells := []rune(strings.TrimSuffix(strings.TrimPrefix(line, "\x1b[30;107m"), "\x1b[0m"))
		if len(cells) != wide {
			t.Fatalf("line %d has %d cells, want %d", row, len(cells), wide)
		}
		for col, r := range cells {
			x, y := col-quietZone, 2*row-quietZone
			if upper := r == '█' || r == '▀'; upper != code.Black(x, y) {
				t.Errorf("module %d,%d is %t", x, y, upper)
			}
			if lower := r == '█' || r == '▄'; lower != code.Black(x, y+1) {
				t.Errorf("module %d,%d is %t", x, y+1, lower)
			}
		}
	}
}

func TestSecondScreenIsWarnedOf(t *testing.T) {
	for _, terminal := range []bool{false, true} {
		var out, errs bytes.Buffer
		sayLAN(shell{Out: &out, Err: &errs, Terminal: terminals{Out: terminal}}, "http://192.0.2.7:8123/enter?token=X")
		if !strings.Contains(out.String(), "http://192.0.2.7:8123/enter?token=X") || !strings.Contains(errs.String(), "plain HTTP") {
			t.Errorf("%s%s", &out, &errs)
		}
		if strings.Contains(out.String(), "█") != terminal {
			t.Errorf("terminal %t:\n%s", terminal, &out)
		}
	}
}
