package main

import (
	"bytes"
	"path/filepath"
	"strings"

	"quietmount/report/draw"
	"quietmount/survey/disk"
)

// drawTo writes a picture in the format that the file's name asks for.
func drawTo(file string, p *draw.Picture) error {
	format := strings.TrimPrefix(strings.ToLower(filepath.Ext(file)), ".")
	if format != "png" && format != "svg" && format != "pdf" {
		return wrong("e.g. map.png", "%s: a picture's name ends in .png, .svg or .pdf", file)
	}
	var b bytes.Buffer
	if err := p.Write(&b, draw.Format(format)); err != nil {
		return err
	}
	return disk.Write(file, b.Bytes())
}
