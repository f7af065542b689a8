package picture

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"quietmount/report/draw"
	"quietmount/report/internal/look"
)

// keep writes a picture as PNG to the folder named in QUIETMOUNT_PICTURES, for
// a person to look at.
func keep(t testing.TB, name string, p *draw.Picture) {
	t.Helper()
	if dir := os.Getenv("QUIETMOUNT_PICTURES"); dir != "" {
		look.Write(t, filepath.Join(dir, name), written(t, p, draw.PNG))
	}
}

func written(t testing.TB, p *draw.Picture, f draw.Format) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := p.Write(&b, f); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
