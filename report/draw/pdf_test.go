package draw

import (
	"bytes"
	"image"
	"image/color"
	"testing"
	"time"

	"gonum.org/v1/plot/vg"

	"quietmount/report/pdf"
)

// Images of the same width keep their order: the same drawing gives the same bytes,
// unlike with the library alone.
func TestImagesOfOneWidth(t *testing.T) {
	drawn := func() []byte {
		doc, err := pdf.New(200, 200, "pt", time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		doc.AddPage()
		c := newPDFCanvas(doc, 200)
		for k := range 6 {
			img := image.NewNRGBA(image.Rect(0, 0, 4, 4))
			for i := range 16 {
				img.Set(i%4, i/4, color.NRGBA{uint8(40 * k), uint8(10 * i), 90, 255})
			}
			at := vg.Point{X: vg.Length(30 * k), Y: 20}
			c.DrawImage(vg.Rectangle{Min: at, Max: at.Add(vg.Point{X: 20, Y: 20})}, img)
		}
		var b bytes.Buffer
		if err := doc.Output(&b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	first := drawn()
	for range 12 {
		if !bytes.Equal(drawn(), first) {
			t.Fatal("the same drawing gives other bytes")
		}
	}
}

func TestWidened(t *testing.T) {
	img := image.NewGray(image.Rect(2, 3, 5, 7)) // 3 by 4, not at the origin
	img.Set(4, 6, color.Gray{200})
	out := widened(img, 5)
	if b := out.Bounds(); b != image.Rect(0, 0, 5, 4) {
		t.Fatalf("bounds %v", b)
	}
	if r, _, _, a := out.At(2, 3).RGBA(); r>>8 != 200 || a>>8 != 255 {
		t.Errorf("the pixel moved: %v", out.At(2, 3))
	}
	if r, g, b, a := out.At(4, 3).RGBA(); min(r, g, b, a)>>8 != 255 {
		t.Error("a column more is not white")
	}
	if widened(img, 3) != image.Image(img) {
		t.Error("an image wide enough was copied")
	}
}
