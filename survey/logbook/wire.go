package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// runFormat is the number of the run file format that this package writes.
// Readers take it and every older one.
const runFormat = 1

// The kinds of line in a run file.
const (
	lineHeader  = "header"
	lineCapture = "capture"
	lineVoid    = "void"
	lineNote    = "note"
)

type wireKind struct {
	Kind string `json:"kind"`
}

// headerLine is the first line of a run file.
type headerLine struct {
	Kind   string `json:"kind"`
	Format int    `json:"format"`
	Header
}

type wireStation struct {
	Name string  `json:"name"`
	X    float64 `json:"x_mm"`
	Y    float64 `json:"y_mm"`
	Z    float64 `json:"z_mm"`
}

// MarshalJSON writes each place as name, x_mm, y_mm and z_mm.
func (s Stations) MarshalJSON() ([]byte, error) {
	out := make([]wireStation, len(s))
	for i, p := range s {
		out[i] = wireStation{p.Name, p.At.X, p.At.Y, p.At.Z}
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (s *Stations) UnmarshalJSON(data []byte) error {
	var in []wireStation
	err := json.Unmarshal(data, &in)
	for _, p := range in {
		*s = append(*s, survey.Station{Name: p.Name, At: r3.Vec{X: p.X, Y: p.Y, Z: p.Z}})
	}
	return err
}

type wireCapture struct {
	Kind          string          `json:"kind"`
	Capture       int             `json:"capture"`
	Station       string          `json:"station"`
	X             float64         `json:"x_mm"`
	Y             float64         `json:"y_mm"`
	Z             float64         `json:"z_mm"`
	Visit         Visit           `json:"visit,omitempty"`
	Time          time.Time       `json:"time"`
	BUT           [3]float64      `json:"b_ut"`
	UncertaintyUT float64         `json:"standard_uncertainty_ut"`
	Prompts       []Prompt        `json:"prompts,omitempty"`
	Columns       []string        `json:"columns"`
	Samples       json.RawMessage `json:"samples"`
}

type wireVoid struct {
	Kind    string    `json:"kind"`
	Capture int       `json:"capture"`
	Why     string    `json:"why"`
	Time    time.Time `json:"time"`
}

// wireNote begins with kind, about and torn_bytes, in this order: a reader
// finds the end of a torn line by these bytes (see tornMark).
type wireNote struct {
	Kind      string    `json:"kind"`
	About     NoteKind  `json:"about"`
	TornBytes *int64    `json:"torn_bytes,omitempty"`
	Station   string    `json:"station,omitempty"`
	Text      string    `json:"text,omitempty"`
	Time      time.Time `json:"time"`
	Verdict   *Verdict  `json:"verdict,omitempty"`
}

// runLine returns v as one line with its line end. A line that no reader would
// take is refused before it is written: what was acknowledged must be read.
func runLine(v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	if len(b) >= maxRunLine {
		return nil, fmt.Errorf("a line of %d MiB, and at most %d are read back; keep the dwells shorter", len(b)>>20, maxRunLine>>20)
	}
	return append(b, '\n'), nil
}

func encodeHeader(h Header) ([]byte, error) {
	b, err := runLine(headerLine{lineHeader, runFormat, h})
	if err != nil {
		return nil, fmt.Errorf("header of run %d: %w", h.Run, err)
	}
	return b, nil
}

func decodeHeader(line []byte) (Header, error) {
	var w headerLine
	if err := json.Unmarshal(line, &w); err != nil {
		return Header{}, err
	}
	switch {
	case w.Format > runFormat:
		return Header{}, fmt.Errorf("%w: format %d, this program reads up to %d", ErrNewerFormat, w.Format, runFormat)
	case w.Format < 1:
		return Header{}, errors.New("the header has no format number")
	case w.State == "":
		return Header{}, errors.New("the header names no state")
	}
	return w.Header, nil
}

func encodeCapture(c Capture) ([]byte, error) {
	columns, samples, err := encodeSamples(c.Samples)
	if err != nil {
		return nil, fmt.Errorf("capture %d: %w", c.Number, err)
	}
	w := wireCapture{
		Kind: lineCapture, Capture: c.Number, Station: c.Station, X: c.At.X, Y: c.At.Y, Z: c.At.Z, Visit: c.Visit, Time: c.Time,
		BUT: vecArray(c.BUT), UncertaintyUT: c.UncertaintyUT, Prompts: c.Prompts, Columns: columns, Samples: samples,
	}
	b, err := runLine(w)
	if err != nil {
		return nil, fmt.Errorf("capture %d: %w", c.Number, err)
	}
	return b, nil
}

func decodeCapture(line []byte) (Capture, error) {
	var w wireCapture
	if err := json.Unmarshal(line, &w); err != nil {
		return Capture{}, err
	}
	switch {
	case w.Capture < 1:
		return Capture{}, errors.New("a capture without a number")
	case w.Station == "":
		return Capture{}, fmt.Errorf("capture %d names no station", w.Capture)
	}
	samples, err := decodeSamples(w.Columns, w.Samples)
	if err != nil {
		return Capture{}, fmt.Errorf("capture %d: %w", w.Capture, err)
	}
	c := Capture{
		Number: w.Capture, Station: w.Station, At: r3.Vec{X: w.X, Y: w.Y, Z: w.Z}, Visit: w.Visit, Time: w.Time,
		Samples: samples, Prompts: w.Prompts, BUT: arrayVec(w.BUT), UncertaintyUT: w.UncertaintyUT,
	}
	return c, nil
}

func vecArray(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
func arrayVec(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }

func encodeNote(n Note) ([]byte, error) {
	if n.Kind == "" {
		n.Kind = NoteText
	}
	b, err := runLine(wireNote{Kind: lineNote, About: n.Kind, Station: n.Station, Text: n.Text, Time: n.Time, Verdict: n.Verdict})
	if err != nil {
		return nil, fmt.Errorf("note: %w", err)
	}
	return b, nil
}
