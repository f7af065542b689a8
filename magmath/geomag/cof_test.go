package geomag

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
)

// Source: SHA-256 and length of the published WMM.COF of 13 November 2024 as
// several public projects state them.
func TestChecksum(t *testing.T) {
	const want = "dfa8597825af4e0b87ff4198a5b4fb661b3c49f4cd090cd0164e0259b075582f"
	sum := sha256.Sum256(wmm2025COF)
	if got := hex.EncodeToString(sum[:]); got != want || len(wmm2025COF) != 4554 {
		t.Errorf("%d bytes with SHA-256 %s, want 4554 with %s", len(wmm2025COF), got, want)
	}
}

func TestEmbeddedModel(t *testing.T) {
	m := WMM2025()
	if m.Name() != "WMM-2025" || m.epoch != 2025 || m.degree != 12 {
		t.Errorf("got %s of %g, degree %d", m.Name(), m.epoch, m.degree)
	}
	// The first, a middle and the last row of the file.
	for _, c := range []struct {
		n, m             int
		g, h, gDot, hDot float64
	}{
		{1, 0, -29351.8, 0, 12, 0},
		{1, 1, -1410.8, 4545.4, 9.7, -21.5},
		{4, 2, 55.7, -133.9, -6, 4.1},
		{12, 12, -0.7, 0.2, -0.1, -0.1},
	} {
		g, h, gd, hd := m.coefficients(c.n, c.m)
		if g != c.g || h != c.h || gd != c.gDot || hd != c.hDot {
			t.Errorf("coefficients (%d,%d) = %g %g %g %g", c.n, c.m, g, h, gd, hd)
		}
	}
}

// A degree beyond 12, rows in any sequence, CR LF line ends: the synthesis must
// not depend on them. The extra degrees are zero, so the field is WMM2025's.
func TestHigherDegree(t *testing.T) {
	lines := strings.Split(strings.TrimRight(string(wmm2025COF), "\n"), "\n")
	rows := slices.Clone(lines[1 : len(lines)-2])
	for n := 13; n <= 40; n++ {
		for m := range n + 1 {
			rows = append(rows, fmt.Sprintf("%d %d 0.0 0.0 0.0 0.0", n, m))
		}
	}
	for i := range len(rows) / 2 {
		j := len(rows) - 1 - i
		rows[i], rows[j] = rows[j], rows[i]
	}
	text := lines[0] + "\r\n" + strings.Join(rows, "\r\n") + "\r\n" + lines[len(lines)-1] + "\r\n\r\n"
	high, err := ReadCOF(strings.NewReader(text), "high.cof")
	if err != nil {
		t.Fatal(err)
	}
	if high.degree != 40 {
		t.Errorf("degree %d, want 40", high.degree)
	}
	p := Place{-37.5, 145, 1200}
	a, b := WMM2025().At(p, 2028), high.At(p, 2028)
	equalWithin(t, "X", b.X, a.X, 1e-9)
	equalWithin(t, "Y", b.Y, a.Y, 1e-9)
	equalWithin(t, "Z", b.Z, a.Z, 1e-9)
}

// At degree 133 (that of the high-resolution model) a sectoral term has a
// closed form: the Schmidt function is k sin^n with k^2 = 2 (2n-1)!!/(2n)!!.
// Source: Winch et al. (2005), Geomagnetism and Schmidt quasi-normalization,
// Geophys. J. Int. 160, from memory.
func TestHighSectoralTerm(t *testing.T) {
	const n = 133
	m := &Model{epoch: 2025, degree: n, terms: newTerms(n)}
	m.terms[position(n, n, n)].h = 100
	k := 2.0
	for i := 1; i <= n; i++ {
		k *= float64(2*i-1) / float64(2*i)
	}
	p := Place{5, 0, 0}
	at := p.spherical()
	want := n * 100 * math.Sqrt(k) * math.Pow(at.sinColat, n-1) * math.Pow(referenceRadiusKM/at.radiusKM, n+2)
	got := m.At(p, 2025).Y
	equalWithin(t, "Y", got, -want, 1e-9*want)
}

const (
	head  = "2025.0 TEST 01/01/2025\n"
	first = "1 0 -29351.8 0.0 12.0 0.0\n"
	other = "1 1 -1410.8 4545.4 9.7 -21.5\n"
	tail  = "9999999999\n"
)

func TestReadCOFFaults(t *testing.T) {
	tests := []struct {
		name, text string
		err        error
		line       int
	}{
		{"empty", "", ErrHeader, 1},
		{"no epoch", "WMM 2025\n" + first + other + tail, ErrHeader, 1},
		{"epoch not a number", "NaN TEST\n" + first + other + tail, ErrHeader, 1},
		{"epoch hexadecimal", "0x7e9 TEST\n" + first + other + tail, ErrHeader, 1},
		{"epoch far off", "20250 TEST\n" + first + other + tail, ErrHeader, 1},
		{"five columns", head + "1 0 -29351.8 0.0 12.0\n", ErrRow, 2},
		{"coefficient infinite", head + "1 0 inf 0.0 12.0 0\n", ErrRow, 2},
		{"coefficient with underscore", head + "1 0 1_0 0.0 12.0 0\n", ErrRow, 2},
		{"coefficient with exponent", head + "1 0 1e3 0.0 12.0 0\n", ErrRow, 2},
		{"coefficient with two signs", head + "1 0 --1 0.0 12.0 0\n", ErrRow, 2},
		{"coefficient too large", head + "1 0 99999999 0.0 12.0 0\n", ErrRow, 2},
		{"h at order zero", head + "1 0 1 0.5 12.0 0\n", ErrRow, 2},
		{"order above degree", head + "1 2 1 0 0 0\n", ErrDegree, 2},
		{"degree zero", head + "0 0 1 0 0 0\n", ErrDegree, 2},
		{"degree too high", head + "801 0 1 0 0 0\n", ErrDegree, 2},
		{"negative order", head + "1 -1 1 0 0 0\n", ErrRow, 2},
		{"twice", head + first + first + tail, ErrDuplicate, 4},
		{"row missing", head + first + tail, ErrMissing, 3},
		{"nothing but nines", head + tail, ErrMissing, 2},
		{"degree missing", head + first + other + "3 0 1 0 0 0\n" + tail, ErrMissing, 5},
		{"no nines", head + first + other, ErrTruncated, 3},
		{"left over", head + first + other + tail + "\n" + other, ErrTrailing, 6},
		{"blank line inside", head + first + "\n" + other + tail, ErrRow, 3},
		{"endless line", head + strings.Repeat("1", 5000), ErrRow, 2},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadCOF(strings.NewReader(c.text), "x.cof")
			at, ok := errors.AsType[*SyntaxError](err)
			if !errors.Is(err, c.err) || !ok {
				t.Fatalf("got %v, want %v", err, c.err)
			}
			if at.Line != c.line || at.Name != "x.cof" {
				t.Errorf("at %s:%d, want line %d", at.Name, at.Line, c.line)
			}
		})
	}
}

func TestReadCOFInputFailure(t *testing.T) {
	cause := errors.New("disk on fire")
	_, err := ReadCOF(iotest.ErrReader(cause), "x.cof")
	if !errors.Is(err, cause) {
		t.Errorf("got %v", err)
	}
	if _, err := ReadCOF(iotest.OneByteReader(bytes.NewReader(wmm2025COF)), "x.cof"); err != nil {
		t.Errorf("byte by byte: %v", err)
	}
}

func FuzzReadCOF(f *testing.F) {
	f.Add(wmm2025COF)
	f.Add([]byte(head + first + other + tail))
	f.Add([]byte(head + first + other + tail + "x"))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := ReadCOF(bytes.NewReader(b), "f")
		if err != nil {
			if _, ok := errors.AsType[*SyntaxError](err); !ok {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		e := m.At(Place{80, -170, 1000}, m.epoch+1)
		if math.IsNaN(e.F+e.DotF) || math.IsInf(e.F+e.DotF, 0) {
			t.Fatalf("field %+v", e)
		}
		again, err := ReadCOF(strings.NewReader(printCOF(m)), "g")
		if err != nil {
			t.Fatalf("printed model not read: %v", err)
		}
		if again.At(Place{80, -170, 1000}, m.epoch+1) != e {
			t.Fatal("printed model differs")
		}
	})
}

// coefficients are g and h of degree n and order m, and their yearly changes.
func (m *Model) coefficients(n, order int) (g, h, gDot, hDot float64) {
	t := m.terms[position(m.degree, n, order)]
	return t.g, t.h, t.gDot, t.hDot
}

// printCOF writes a model so that ReadCOF gives it back exactly.
func printCOF(m *Model) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%f %s 1/1/2026\n", m.epoch, m.name)
	for n := 1; n <= m.degree; n++ {
		for order := range n + 1 {
			g, h, gd, hd := m.coefficients(n, order)
			fmt.Fprintf(&b, "%d %d %s %s %s %s\n", n, order, plain(g), plain(h), plain(gd), plain(hd))
		}
	}
	b.WriteString(tail)
	return b.String()
}

func TestCorpusIsCommitted(t *testing.T) {
	for _, target := range []string{"FuzzReadCOF", "FuzzParseDate"} {
		entries, err := os.ReadDir("testdata/fuzz/" + target)
		if err != nil || len(entries) == 0 {
			t.Errorf("no corpus for %s: %v", target, err)
		}
	}
}
