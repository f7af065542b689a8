package logbook

import "encoding/json"

// Names inside the package that its external tests use.
const KeptDirections = keptDirections
const TornMark = tornMark
const MaxRunLine = maxRunLine

var EncodeHeader = encodeHeader
var EncodeCapture = encodeCapture
var EncodeSwingHeader = encodeSwingHeader
var RunNumbers = runNumbers

// Next is the number of the capture that comes next.
func (w *RunWriter) Next() int { return w.next }

// Disk is what the run is written to.
func (w *RunWriter) Disk() runFile { return w.f }

// SetDisk puts another in its place.
func (w *RunWriter) SetDisk(f runFile) { w.f = f }

// Again reads a line of a run or a swing file and writes it anew.
func Again(line []byte, swing bool) ([]byte, error) {
	var k wireKind
	if err := json.Unmarshal(line, &k); err != nil {
		return nil, err
	}
	switch {
	case k.Kind == lineHeader && swing:
		var w swingLine
		if err := json.Unmarshal(line, &w); err != nil {
			return nil, err
		}
		return encodeSwingHeader(w.SwingHeader)
	case k.Kind == lineHeader:
		h, err := decodeHeader(line)
		if err != nil {
			return nil, err
		}
		return encodeHeader(h)
	case k.Kind == lineCapture:
		c, err := decodeCapture(line)
		if err != nil {
			return nil, err
		}
		return encodeCapture(c)
	}
	return line, nil
}
