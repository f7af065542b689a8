package draw

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"html"
	"image"
	"io"
	"strings"

	"golang.org/x/image/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/recorder"
	"gonum.org/v1/plot/vg/vgsvg"
)

// fontFamilies are the fonts a viewer may use. The picture was laid out with the
// widths of the first, which the next two share.
const fontFamilies = "'Liberation Sans',Arial,Helvetica,sans-serif"

func (p *Picture) writeSVG(w io.Writer) error {
	s, err := p.SVG()
	if err != nil {
		return err
	}
	_, err = io.WriteString(w, `<?xml version="1.0" encoding="UTF-8"?>`+"\n"+s)
	return err
}

// SVG returns the picture as an svg element that can be put into an HTML page with
// others.
func (p *Picture) SVG() (string, error) {
	c := svgCanvas{Canvas: vgsvg.New(p.Width, p.Height)}
	if err := errors.Join(p.drawing.ReplayOn(&c), c.failed); err != nil {
		return "", fmt.Errorf("draw svg: %w", err)
	}
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", fmt.Errorf("draw svg: %w", err)
	}
	s, err := filled(b.String(), c.images)
	if err != nil {
		return "", err
	}
	return p.mended(s)
}

// svgCanvas is the library's, with one pixel in the place of each image: the
// library would pack the images slowly.
type svgCanvas struct {
	*vgsvg.Canvas
	images [][]byte // PNG
	failed error
}

// DrawImage stretches an image over a rectangle.
func (c *svgCanvas) DrawImage(rect vg.Rectangle, img image.Image) {
	png, err := packed(img)
	c.images, c.failed = append(c.images, png), errors.Join(c.failed, err)
	c.Canvas.DrawImage(rect, image.NewGray(image.Rect(0, 0, 1, 1)))
}

// filled puts the images into their places.
func filled(s string, images [][]byte) (string, error) {
	const before = `xlink:href="data:image/jpg;base64,`
	parts := strings.Split(s, before)
	if len(parts) != len(images)+1 {
		return "", fmt.Errorf("draw svg: the library's output has %d of %d images", len(parts)-1, len(images))
	}
	var out strings.Builder
	out.WriteString(parts[0])
	for i, png := range images {
		_, after, _ := strings.Cut(parts[i+1], `"`)
		fmt.Fprintf(&out, `%s%s"%s`, before, base64.StdEncoding.EncodeToString(png), after)
	}
	return out.String(), nil
}

// mended corrects the library's SVG, in which images keep the proportions of their
// pixels instead of filling their place and are labelled JPEG although they are
// PNG, a missing font falls back to a serif, and there is no title.
func (p *Picture) mended(s string) (string, error) {
	_, body, ok := strings.Cut(s, ">\n<g")
	if i := strings.Index(s, "<svg"); ok && i >= 0 {
		_, body, ok = strings.Cut(s[i:], ">\n")
	}
	if !ok {
		return "", fmt.Errorf("draw svg: the library's output has an unexpected form")
	}
	body = strings.NewReplacer(
		"xlink:href=\"data:image/jpg;", "preserveAspectRatio=\"none\" xlink:href=\"data:image/png;",
		"font-family:Liberation Sans;font-variant:none;font-weight:normal;font-style:normal;", "",
		"font-variant:none;", "", "font-family:Liberation Sans;", "", "font-style:normal;", "",
	).Replace(body)
	body = p.fitted(body)
	id := p.id(body)
	head := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" `+
		`width="%.5gpt" height="%.5gpt" viewBox="0 0 %.5g %.5g" role="img" aria-labelledby="%s-t %s-d" `+
		`font-family="%s" stroke-linejoin="round" style="font-kerning:none">`+"\n"+
		"<title id=\"%s-t\">%s</title>\n<desc id=\"%s-d\">%s</desc>\n",
		p.Width.Points(), p.Height.Points(), p.Width.Points(), p.Height.Points(), id, id,
		fontFamilies, id, html.EscapeString(p.title), id, html.EscapeString(p.desc))
	return head + body, nil
}

// fitted gives each text the width that it was laid out with, so that it is neither
// cut nor overlapped in a viewer without the font.
func (p *Picture) fitted(body string) string {
	g := NewPen(&Picture{})
	parts := strings.Split(body, "<text ")
	k := 1
	for _, a := range p.drawing.Actions {
		t, ok := a.(*recorder.FillString)
		if !ok || k >= len(parts) {
			continue
		}
		bold := t.Font.Weight == font.WeightBold
		parts[k] = fmt.Sprintf("textLength=\"%.2f\" lengthAdjust=\"spacingAndGlyphs\" ", g.Width(t.String, t.Size.Points(), bold)) + parts[k]
		k++
	}
	return strings.Join(parts, "<text ")
}

// id returns an identifier that is unique to the picture and does not change.
func (p *Picture) id(body string) string {
	sum := sha256.Sum256([]byte(p.title + "\x00" + body))
	return "p" + hex.EncodeToString(sum[:5])
}
