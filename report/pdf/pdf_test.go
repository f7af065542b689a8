package pdf

import (
	"bytes"
	"testing"
	"time"
)

// What the font has and lacks, from the Liberation fonts' own list of blocks:
// Latin, Greek and Cyrillic, no Han, no emoji.
func TestPrintable(t *testing.T) {
	l, err := NewLetters()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		in, out string
		whole   bool
	}{
		{"µT ± ° – −", "µT ± ° – −", true},
		{"Πτερύγιο Крыло Flügel", "Πτερύγιο Крыло Flügel", true},
		{"翼 B3", "□ B3", false},
		{"😀\t", "□□", false},
		{"", "", true},
	} {
		if out, whole := l.Printable(c.in); out != c.out || whole != c.whole {
			t.Errorf("%q becomes %q (%v), want %q (%v)", c.in, out, whole, c.out, c.whole)
		}
	}
}

func TestNewIsRepeatable(t *testing.T) {
	made := func(date time.Time) []byte {
		doc, err := New(100, 50, "mm", date)
		if err != nil {
			t.Fatal(err)
		}
		doc.AddPage()
		doc.SetFont(Family, "B", 12)
		doc.Text(10, 20, "µT ±")
		var b bytes.Buffer
		if err := doc.Output(&b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	if !bytes.Equal(made(time.Time{}), made(time.Time{})) {
		t.Error("two documents of the same content differ")
	}
	if !bytes.Contains(made(time.Time{}), []byte("D:19700101000000")) {
		t.Error("a document without a date is not of 1970")
	}
	if !bytes.Contains(made(time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC)), []byte("D:20260601100000")) {
		t.Error("the date is not in the document")
	}
}
