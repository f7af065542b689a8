package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// CalibrationFolder holds the stored calibrations of a craft folder.
const CalibrationFolder = "calibration"

var calibrationID = regexp.MustCompile(`^[0-9A-Za-z-]{1,40}$`)

// LoadCorrection reads what the stored calibration id of the craft folder dir
// does: calibration/ID.json with offset_ut (three numbers) and matrix (three
// rows of three). An id with anything but letters, digits and hyphens, a
// missing file, a newer format, numbers that are missing or not finite and a
// matrix that cannot be undone are errors.
func LoadCorrection(dir, id string) (*Correction, error) {
	if !calibrationID.MatchString(id) {
		return nil, fmt.Errorf("calibration %q: an ID is letters, digits and hyphens, e.g. 0001", id)
	}
	name := filepath.Join(dir, CalibrationFolder, id+".json")
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("no calibration %s in this folder: %w", id, err)
	}
	if err != nil {
		return nil, err
	}
	c, err := DecodeCorrection(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return c, nil
}

func DecodeCorrection(data []byte) (*Correction, error) {
	var wire struct {
		Format int         `json:"format"`
		Offset []float64   `json:"offset_ut"`
		Matrix [][]float64 `json:"matrix"`
	}
	if err := json.Unmarshal(data, &wire); err != nil {
		return nil, err
	}
	if wire.Format > calibrationFormat {
		return nil, fmt.Errorf("format %d is newer than this program, which reads up to %d; use a newer quietmount", wire.Format, calibrationFormat)
	}
	if len(wire.Offset) != 3 || len(wire.Matrix) != 3 {
		return nil, errors.New("it wants offset_ut with three numbers and matrix with three rows")
	}
	c := &Correction{OffsetUT: r3.Vec{X: wire.Offset[0], Y: wire.Offset[1], Z: wire.Offset[2]}}
	for i, row := range wire.Matrix {
		if len(row) != 3 {
			return nil, errors.New("each row of matrix wants three numbers")
		}
		copy(c.Matrix[i][:], row)
	}
	if det := c.Matrix.Det(); !magmath.FiniteVec(c.OffsetUT) || !c.Matrix.Finite() || math.Abs(det) < 1e-9 {
		return nil, errors.New("its matrix cannot be undone")
	}
	return c, nil
}

// Apply is Matrix (raw - OffsetUT); a nil Correction changes nothing.
func (c *Correction) Apply(raw r3.Vec) r3.Vec {
	if c == nil {
		return raw
	}
	return c.Matrix.Apply(r3.Sub(raw, c.OffsetUT))
}
