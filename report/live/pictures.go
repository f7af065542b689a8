package live

import (
	"bytes"

	"quietmount/report/draw"
	"quietmount/report/live/serve"
)

// shownPicture is a picture as the page shows it: its addresses, light and dark,
// its size and what it shows in words.
type shownPicture struct {
	Address string  `json:"address"`
	Dark    string  `json:"dark"`
	Width   float64 `json:"width"`
	Height  float64 `json:"height"`
	Title   string  `json:"title"`
	Words   string  `json:"words"`
}

func pictureAt(p *draw.Picture, address string) *shownPicture {
	at := p.Spot()
	return &shownPicture{
		Address: address, Dark: address + "&dark=1", Width: at.WidthPt, Height: at.HeightPt,
		Title: p.Title(), Words: p.Description(),
	}
}

// svg returns a picture as SVG.
func svg(p *draw.Picture) ([]byte, error) {
	var b bytes.Buffer
	err := p.Write(&b, draw.SVG)
	return b.Bytes(), err
}

// svgFile answers with a picture, in dark colours if the form asks for them.
func svgFile(a asked, p *draw.Picture) (serve.File, error) {
	if a.Form.On("dark") {
		p = p.Dark()
	}
	body, err := svg(p)
	return serve.File{Type: "image/svg+xml", Body: body}, err
}
