// Package look helps tests to look at pictures: it decodes and compares them and
// runs installed programs that render SVG and PDF. In come bytes or images, out go
// images and differences; every error fails the test.
package look

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/png"
	"os"
	"os/exec"
	"testing"
	"time"
)

// Decoded returns the image in a PNG file's bytes.
func Decoded(t testing.TB, data []byte) image.Image {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// Write writes a file.
func Write(t testing.TB, file string, data []byte) {
	t.Helper()
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// Read reads a file.
func Read(t testing.TB, file string) []byte {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// For returns the path of the first of some programs that is installed, and skips
// the test if none is.
func For(t *testing.T, names ...string) string {
	t.Helper()
	for _, n := range names {
		if path, err := exec.LookPath(n); err == nil {
			return path
		}
	}
	t.Skipf("none of %v is installed: this format is not looked at", names)
	return ""
}

// Run runs a program for at most a minute and returns what it prints.
func Run(t *testing.T, name string, args ...string) []byte {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, name, args...).Output()
	if err != nil {
		if exit, ok := errors.AsType[*exec.ExitError](err); ok {
			t.Logf("%s", exit.Stderr)
		}
		t.Fatalf("%s: %v", name, err)
	}
	return out
}

// Difference returns the share of pixels that differ by more than a quarter of the
// range. It reports an error and returns 1 if the sizes differ.
func Difference(t testing.TB, got, want image.Image) float64 {
	t.Helper()
	if got.Bounds().Size() != want.Bounds().Size() {
		t.Errorf("%v, want %v", got.Bounds().Size(), want.Bounds().Size())
		return 1
	}
	n := 0
	size := got.Bounds().Size()
	for y := range size.Y {
		for x := range size.X {
			r, g, b, _ := got.At(got.Bounds().Min.X+x, got.Bounds().Min.Y+y).RGBA()
			R, G, B, _ := want.At(want.Bounds().Min.X+x, want.Bounds().Min.Y+y).RGBA()
			if apart(r, R) || apart(g, G) || apart(b, B) {
				n++
			}
		}
	}
	return float64(n) / float64(size.X*size.Y)
}

func apart(a, b uint32) bool { return max(a, b)-min(a, b) > 0x4000 }
