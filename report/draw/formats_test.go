package draw

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"io"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"quietmount/report/internal/look"
)

func TestUnknownFormat(t *testing.T) {
	if err := shapes().Write(io.Discard, "gif"); !errors.Is(err, errFormat) || !strings.Contains(err.Error(), "gif") {
		t.Errorf("got %v", err)
	}
}

// Source: W3C PNG specification, 5.3 chunk layout, 11.3.5.3 pHYs; 200 dots an
// inch of 25.4 mm are 7874 a metre.
func TestPNGStatesItsSize(t *testing.T) {
	p := shapes()
	data := writtenShapes(t, p, PNG)
	const headerEnd = 8 + 4 + 4 + 13 + 4 // signature, then IHDR: length, type, data, check sum
	chunk := data[headerEnd:]
	if n := binary.BigEndian.Uint32(chunk); n != 9 || string(chunk[4:8]) != "pHYs" {
		t.Fatalf("chunk of %d bytes, %q", n, chunk[4:8])
	}
	x, y := binary.BigEndian.Uint32(chunk[8:]), binary.BigEndian.Uint32(chunk[12:])
	if x != 7874 || y != 7874 || chunk[16] != 1 {
		t.Errorf("%d by %d in unit %d", x, y, chunk[16])
	}
	if got, want := binary.BigEndian.Uint32(chunk[17:]), crc32.ChecksumIEEE(chunk[4:17]); got != want {
		t.Errorf("check sum %x, want %x", got, want)
	}
	img := look.Decoded(t, data)
	if got, want := float64(img.Bounds().Dx()), p.Width.Points()/72*200; math.Abs(got-want) > 1 {
		t.Errorf("%v pixels across, want %v", got, want)
	}
}

// shapes returns a picture with a hole, a curve with one control point, an arc and a
// turn.
func shapes() *Picture {
	p := &Picture{title: "shapes", Width: 120, Height: 90}
	g := NewPen(p)
	g.Fill(White, []vg.Point{{}, {X: 120}, {X: 120, Y: 90}, {Y: 90}})
	g.Fill(Black, []vg.Point{{X: 5, Y: 5}, {X: 55, Y: 5}, {X: 55, Y: 55}, {X: 5, Y: 55}}, []vg.Point{{X: 20, Y: 20}, {X: 20, Y: 40}, {X: 40, Y: 40}, {X: 40, Y: 20}})
	g.Disc(vg.Point{X: 90, Y: 60}, 20, Solid, Black, 3)
	var curve vg.Path
	curve.Move(vg.Point{X: 60, Y: 10})
	curve.QuadTo(vg.Point{X: 85, Y: 60}, vg.Point{X: 112, Y: 8})
	g.Canvas.SetLineWidth(4)
	g.Canvas.SetColor(Wire)
	g.Canvas.Stroke(curve)
	g.Canvas.Push()
	g.Canvas.Translate(vg.Point{X: 30, Y: 72})
	g.Canvas.Rotate(0.3)
	g.Canvas.Scale(2, 1)
	g.Fill(Black, []vg.Point{{X: -8, Y: -5}, {X: 8, Y: -5}, {X: 8, Y: 5}})
	g.Canvas.Pop()
	return p
}

// writtenShapes returns a picture as the bytes of a file.
func writtenShapes(t testing.TB, p *Picture, f Format) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := p.Write(&b, f); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The canvas draws what pictures use (a hole, a curve with one control point, an arc,
// a turn) as the PNG does.
func TestPDFCanvasDrawsAsPNG(t *testing.T) {
	tool := look.For(t, "pdftoppm")
	p := shapes()
	dir := t.TempDir()
	file := filepath.Join(dir, "a.pdf")
	look.Write(t, file, writtenShapes(t, p, PDF))
	look.Run(t, tool, "-r", "144", "-png", "-singlefile", file, filepath.Join(dir, "a"))
	want, err := p.Pixels(144)
	if err != nil {
		t.Fatal(err)
	}
	if d := look.Difference(t, look.Decoded(t, look.Read(t, filepath.Join(dir, "a.png"))), want); d > 0.02 {
		t.Errorf("the pictures differ by %.3f", d)
	}
}

// An image keeps its pixels, whatever its kind and wherever its corner.
func TestEncodePNG(t *testing.T) {
	colours := image.NewRGBA(image.Rect(0, 0, 7, 5))
	for i := range colours.Pix {
		colours.Pix[i] = uint8(i*37) | uint8(0xff*(i%4/3)) // the last of four is the opacity
	}
	grey := image.NewGray(image.Rect(2, 3, 6, 4))
	grey.Set(5, 3, color.Gray{Y: 200})
	for _, img := range []image.Image{colours, colours.SubImage(image.Rect(1, 2, 6, 4)), grey} {
		var b bytes.Buffer
		if err := encodePNG(&b, img, 0); err != nil {
			t.Fatal(err)
		}
		got, from := look.Decoded(t, b.Bytes()), img.Bounds()
		if got.Bounds().Size() != from.Size() {
			t.Fatalf("%v of %v", got.Bounds(), from)
		}
		for y := range from.Dy() {
			for x := range from.Dx() {
				r, g, blue, _ := got.At(x, y).RGBA()
				if wr, wg, wb, _ := img.At(from.Min.X+x, from.Min.Y+y).RGBA(); r != wr || g != wg || blue != wb {
					t.Errorf("pixel %d, %d of %v is wrong", x, y, from)
				}
			}
		}
	}
}
