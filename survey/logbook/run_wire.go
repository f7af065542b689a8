package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
)

// RunFormat is the number of the run file format that this package writes.
// Readers take it and every older one.
const RunFormat = 1

// The kinds of line in a run file.
const (
	lineHeader  = "header"
	lineCapture = "capture"
	lineVoid    = "void"
	LineNote    = "note"
)

type wireKind struct {
	Kind string `json:"kind"`
}

type wireHeader struct {
	Kind        string          `json:"kind"`
	Format      int             `json:"format"`
	Run         int             `json:"run"`
	Craft       string          `json:"craft,omitempty"`
	CraftSHA256 string          `json:"craft_sha256,omitempty"`
	State       string          `json:"state"`
	CurrentA    *float64        `json:"current_a,omitempty"`
	Pulsed      bool            `json:"pulsed"`
	Substitute  bool            `json:"substitute"`
	Probe       string          `json:"probe,omitempty"`
	Axes        *magmath.Mat3   `json:"axes,omitempty"`
	Calibration string          `json:"calibration,omitempty"`
	Correction  *wireCorrection `json:"correction,omitempty"`
	Port        string          `json:"port,omitempty"`
	Decoder     string          `json:"decoder,omitempty"`
	Tool        string          `json:"tool,omitempty"`
	Started     time.Time       `json:"started"`
	Session     string          `json:"session,omitempty"`
	NoseDeg     *float64        `json:"nose_deg,omitempty"`
	Fitted      []string        `json:"fitted,omitempty"`
	Confirmed   []string        `json:"confirmed,omitempty"`
	Imported    bool            `json:"imported,omitempty"`
	Rhythm      *wireRhythm     `json:"rhythm,omitempty"`
	Stations    []string        `json:"stations,omitempty"`
	Proof       bool            `json:"proof,omitempty"`
	Extra       []wireStation   `json:"extra_stations,omitempty"`
}

type wireCorrection struct {
	OffsetUT [3]float64   `json:"offset_ut"`
	Matrix   magmath.Mat3 `json:"matrix"`
}

type wireRhythm struct {
	Pulses int     `json:"pulses"`
	OnS    float64 `json:"on_s"`
	OffS   float64 `json:"off_s"`
	DropS  float64 `json:"drop_s"`
}

type wireStation struct {
	Name string  `json:"name"`
	X    float64 `json:"x_mm"`
	Y    float64 `json:"y_mm"`
	Z    float64 `json:"z_mm"`
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
	Prompts       []wirePrompt    `json:"prompts,omitempty"`
	Columns       []string        `json:"columns"`
	Samples       json.RawMessage `json:"samples"`
}

type wirePrompt struct {
	TS float64 `json:"t_s"`
	On bool    `json:"on"`
}

type wireVoid struct {
	Kind    string    `json:"kind"`
	Capture int       `json:"capture"`
	Why     string    `json:"why"`
	Time    time.Time `json:"time"`
}

// WireNote begins with kind, about and torn_bytes, in this order: a reader
// finds the end of a torn line by these bytes (see tornMark).
type WireNote struct {
	Kind      string    `json:"kind"`
	About     NoteKind  `json:"about"`
	TornBytes *int64    `json:"torn_bytes,omitempty"`
	Station   string    `json:"station,omitempty"`
	Text      string    `json:"text,omitempty"`
	Time      time.Time `json:"time"`
}

// RunLine is v as one line with its line end. A line that no reader would
// take is refused before it is written: what was acknowledged must be read.
func RunLine(v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	if len(b) >= MaxRunLine {
		return nil, fmt.Errorf("a line of %d MiB, and at most %d are read back; keep the dwells shorter", len(b)>>20, MaxRunLine>>20)
	}
	return append(b, '\n'), nil
}

func encodeHeader(h Header) ([]byte, error) {
	w := wireHeader{
		Kind: lineHeader, Format: RunFormat, Run: h.Run, Craft: h.Craft, CraftSHA256: h.CraftSHA256, State: h.State,
		Pulsed: h.Pulsed, Substitute: h.Substitute, Probe: h.Probe, Axes: h.Axes, Calibration: h.Calibration,
		Port: h.Port, Decoder: h.Decoder, Tool: h.Tool, Started: h.Started, Session: h.Session, NoseDeg: h.NoseDeg,
		Fitted: h.Fitted, Confirmed: h.Confirmed, Imported: h.Imported, Stations: h.Stations, Proof: h.Proof,
	}
	if h.HasCurrent {
		w.CurrentA = &h.CurrentA
	}
	for _, e := range h.Extra {
		w.Extra = append(w.Extra, wireStation{e.Name, e.At.X, e.At.Y, e.At.Z})
	}
	if c := h.Correction; c != nil {
		w.Correction = &wireCorrection{OffsetUT: vecArray(c.OffsetUT), Matrix: c.Matrix}
	}
	if h.Rhythm != nil {
		r := wireRhythm(*h.Rhythm)
		w.Rhythm = &r
	}
	b, err := RunLine(w)
	if err != nil {
		return nil, fmt.Errorf("header of run %d: %w", h.Run, err)
	}
	return b, nil
}

func decodeHeader(line []byte) (Header, error) {
	var w wireHeader
	if err := json.Unmarshal(line, &w); err != nil {
		return Header{}, err
	}
	switch {
	case w.Format > RunFormat:
		return Header{}, fmt.Errorf("%w: format %d, this program reads up to %d; use a newer quietmount", ErrNewerFormat, w.Format, RunFormat)
	case w.Format < 1:
		return Header{}, errors.New("the header has no format number")
	case w.State == "":
		return Header{}, errors.New("the header names no state")
	}
	h := Header{
		Run: w.Run, CraftSHA256: w.CraftSHA256, Craft: w.Craft, State: w.State, Pulsed: w.Pulsed, Substitute: w.Substitute,
		Probe: w.Probe, Axes: w.Axes, Calibration: w.Calibration, Port: w.Port, Decoder: w.Decoder, Tool: w.Tool,
		Started: w.Started, Session: w.Session, NoseDeg: w.NoseDeg, Fitted: w.Fitted, Confirmed: w.Confirmed, Imported: w.Imported, Stations: w.Stations, Proof: w.Proof,
	}
	if w.CurrentA != nil {
		h.CurrentA, h.HasCurrent = *w.CurrentA, true
	}
	for _, e := range w.Extra {
		h.Extra = append(h.Extra, survey.Station{Name: e.Name, At: r3.Vec{X: e.X, Y: e.Y, Z: e.Z}})
	}
	if c := w.Correction; c != nil {
		h.Correction = &Correction{OffsetUT: ArrayVec(c.OffsetUT), Matrix: c.Matrix}
	}
	if w.Rhythm != nil {
		r := Rhythm(*w.Rhythm)
		h.Rhythm = &r
	}
	return h, nil
}

func EncodeCapture(c Capture) ([]byte, error) {
	columns, samples, err := encodeSamples(c.Samples)
	if err != nil {
		return nil, fmt.Errorf("capture %d: %w", c.Number, err)
	}
	w := wireCapture{
		Kind: lineCapture, Capture: c.Number, Station: c.Station, X: c.At.X, Y: c.At.Y, Z: c.At.Z, Visit: c.Visit, Time: c.Time,
		BUT: vecArray(c.BUT), UncertaintyUT: c.UncertaintyUT, Columns: columns, Samples: samples,
	}
	for _, p := range c.Prompts {
		w.Prompts = append(w.Prompts, wirePrompt(p))
	}
	b, err := RunLine(w)
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
		Samples: samples, BUT: ArrayVec(w.BUT), UncertaintyUT: w.UncertaintyUT,
	}
	for _, p := range w.Prompts {
		c.Prompts = append(c.Prompts, Prompt(p))
	}
	return c, nil
}

func vecArray(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
func ArrayVec(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
