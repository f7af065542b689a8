package report

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// keep writes a picture as PNG to the folder named in QUIETMOUNT_PICTURES, for
// a person to look at.
func keep(t testing.TB, name string, p *Picture) {
	t.Helper()
	if dir := os.Getenv("QUIETMOUNT_PICTURES"); dir != "" {
		Write(t, filepath.Join(dir, name), written(t, p, PNG))
	}
}

func written(t testing.TB, p *Picture, f Format) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := p.Write(&b, f); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
