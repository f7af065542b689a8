package logbook

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/calib"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/disk"
	"quietmount/survey/number"
)

// CalibrationFolder holds the stored calibrations of a craft folder.
const CalibrationFolder = "calibration"

var calibrationID = regexp.MustCompile(`^[0-9A-Za-z-]{1,40}$`)

// LoadCorrection reads the correction of the stored calibration id of the craft
// folder dir: calibration/ID.json with offset_ut (three numbers) and matrix
// (three rows of three). An id with anything but letters, digits and hyphens, a
// missing file, a newer format, numbers that are missing or not finite and a
// singular matrix are errors.
func LoadCorrection(dir, id string) (*survey.Correction, error) {
	if !calibrationID.MatchString(id) {
		return nil, fmt.Errorf("calibration %q: an ID is letters, digits and hyphens, e.g. 0001", id)
	}
	c, err := ReadCorrection(filepath.Join(dir, CalibrationFolder, id+".json"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("no calibration %s in this folder: %w", id, err)
	}
	return c, err
}

// ReadCorrection reads the correction of the calibration in a file. An error in
// its content is a *RunError, with the line if the JSON is damaged.
func ReadCorrection(path string) (*survey.Correction, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	c, err := decodeCorrection(data)
	if err == nil {
		return c, nil
	}
	at := &RunError{File: path, Err: err}
	if syntax, ok := errors.AsType[*json.SyntaxError](err); ok {
		at.Line = 1 + bytes.Count(data[:min(int(syntax.Offset), len(data))], []byte("\n"))
	}
	return nil, at
}

func decodeCorrection(data []byte) (*survey.Correction, error) {
	var wire struct {
		Format int         `json:"format"`
		Offset []float64   `json:"offset_ut"`
		Matrix [][]float64 `json:"matrix"`
	}
	if err := json.Unmarshal(data, &wire); err != nil {
		return nil, err
	}
	if wire.Format > calibrationFormat {
		return nil, fmt.Errorf("format %d is newer than this program, which reads up to %d; use a newer version", wire.Format, calibrationFormat)
	}
	if len(wire.Offset) != 3 || len(wire.Matrix) != 3 {
		return nil, errors.New("it wants offset_ut with three numbers and matrix with three rows")
	}
	c := &survey.Correction{OffsetUT: [3]float64(wire.Offset)}
	for i, row := range wire.Matrix {
		if len(row) != 3 {
			return nil, errors.New("each row of matrix wants three numbers")
		}
		copy(c.Matrix[i][:], row)
	}
	if det := c.Matrix.Det(); !number.Finite(c.OffsetUT[:]...) || !c.Matrix.Finite() || math.Abs(det) < 1e-9 {
		return nil, errors.New("its matrix cannot be undone")
	}
	return c, nil
}

// calibrationFormat is the format number of a stored calibration. A file
// without one was written by another tool and is taken for what its keys say.
const calibrationFormat = 1

// Calibration is a calibration as it is stored.
type Calibration struct {
	Format      int       `json:"format"`
	ID          string    `json:"id"`
	Created     time.Time `json:"created"`
	Tool        string    `json:"tool"`
	Craft       string    `json:"craft"`
	Probe       string    `json:"probe"`
	Source      string    `json:"source"`             // file or port
	OnCraft     bool      `json:"on_craft,omitempty"` // the module was mounted and the whole craft turned
	ScaleFrom   string    `json:"scale_from"`
	ReferenceUT *float64  `json:"reference_ut"`

	OffsetUT   [3]float64    `json:"offset_ut"`
	Matrix     [3][3]float64 `json:"matrix"`
	Parameters int           `json:"parameters"`
	// CovarianceOf names the rows of Covariance: offset in microtesla, then the
	// elements of the matrix.
	CovarianceOf   []string      `json:"covariance_of"`
	Covariance     [9][9]float64 `json:"covariance"`
	OffsetStandard [3]float64    `json:"offset_standard_uncertainty_ut"`
	MatrixStandard [3][3]float64 `json:"matrix_standard_uncertainty"`
	FieldUT        float64       `json:"field_ut"`
	FieldStandard  float64       `json:"field_standard_uncertainty_ut"`
	ErrorUT        float64       `json:"expected_error_ut"`
	PriorGain      float64       `json:"prior_gain"`
	PriorCross     float64       `json:"prior_cross"`

	ResidualUT       float64  `json:"residual_ut"`
	NoiseUT          float64  `json:"noise_ut"`
	SphereCovered    float64  `json:"sphere_covered"`
	AttitudesCovered float64  `json:"attitudes_covered"`
	Samples          int      `json:"samples"`
	Repeated         int      `json:"repeated_samples"`
	Rejected         int      `json:"rejected_samples"`
	EffectiveSamples float64  `json:"effective_samples"`
	DegreesOfFreedom float64  `json:"degrees_of_freedom,omitzero"`
	SamplesSHA256    string   `json:"samples_sha256"`
	Accepted         bool     `json:"accepted"`
	Why              string   `json:"why"`
	Remarks          []string `json:"remarks"`

	// What was shown of the sphere of directions, in sensor axes; absent in
	// files of earlier versions.
	Cells      []int        `json:"cells_covered,omitempty"` // 1 where a cell of equal area was entered, from +z to -z
	LargestGap string       `json:"largest_gap,omitempty"`   // how to turn to close it; empty: no gap
	Directions [][3]float64 `json:"directions,omitempty"`    // of the corrected field, some of the readings
}

// ScaleWord names where the scale of a calibration comes from.
func ScaleWord(s calib.ScaleFrom) string {
	if s == calib.FromProbe {
		return "probe"
	}
	return "reference"
}

// NewCalibration returns the stored form of a result; say words the remarks, which
// the file keeps as text. The caller fills in source, craft, probe and tool.
func NewCalibration(r calib.Result, samples []survey.Sample, say func(remark.Remark) string) Calibration {
	c := Calibration{
		Format: calibrationFormat, ScaleFrom: ScaleWord(r.Scale),
		OffsetUT: vecArray(r.OffsetUT), Matrix: r.Matrix, Parameters: r.Parameters,
		CovarianceOf: []string{"offset_x", "offset_y", "offset_z", "m_xx", "m_yy", "m_zz", "m_xy", "m_xz", "m_yz"},
		Covariance:   r.Covariance, OffsetStandard: vecArray(r.OffsetStandardUT), MatrixStandard: r.MatrixStandard,
		FieldUT: r.FieldUT, FieldStandard: r.FieldStandardUT, ErrorUT: r.ErrorUT,
		PriorGain: r.Prior.Gain, PriorCross: r.Prior.Cross,
		ResidualUT: r.ResidualUT, NoiseUT: r.NoiseUT, SphereCovered: r.SphereCovered, AttitudesCovered: r.AttitudesCovered,
		Samples: r.Samples, Repeated: r.Repeated, Rejected: r.Rejected, EffectiveSamples: r.EffectiveSamples, DegreesOfFreedom: r.DegreesOfFreedom,
		SamplesSHA256: SamplesHash(samples), Accepted: r.Accepted, Remarks: []string{},
	}
	why := r.Refusals
	if r.Accepted {
		why = []remark.Remark{r.Chosen}
	}
	var reasons []string
	for _, m := range why {
		reasons = append(reasons, say(m))
	}
	c.Why = strings.Join(reasons, "; ")
	for _, m := range r.Remarks {
		c.Remarks = append(c.Remarks, say(m))
	}
	if r.Gap != nil {
		c.LargestGap = say(r.Gap.Remark())
	}
	c.keepCoverage(r, samples)
	return c
}

// keptDirections is how many of the readings' directions are stored.
const keptDirections = 200

// keepCoverage keeps what was shown of the sphere. Directions are those of
// readings evenly apart, to a thousandth; none where nothing was fitted.
func (c *Calibration) keepCoverage(r calib.Result, samples []survey.Sample) {
	c.Cells = make([]int, calib.Cells)
	for i := range c.Cells {
		if r.Coverage.Seen(i) {
			c.Cells[i] = 1
		}
	}
	if r.Parameters == 0 {
		return
	}
	every := max(1, (len(samples)+keptDirections-1)/keptDirections)
	for i := 0; i < len(samples); i += every {
		y := r.Matrix.Apply(r3.Sub(samples[i].B, r.OffsetUT))
		n := r3.Norm(y)
		if !(n > 0) || math.IsInf(n, 0) {
			continue
		}
		thousandth := func(v float64) float64 { return math.Round(1000*v/n) / 1000 }
		c.Directions = append(c.Directions, [3]float64{thousandth(y.X), thousandth(y.Y), thousandth(y.Z)})
	}
}

// SamplesHash returns the SHA-256, in hexadecimal, of the readings: time and
// the three components of each as little-endian IEEE 754 doubles.
func SamplesHash(samples []survey.Sample) string {
	h := sha256.New()
	var b [32]byte
	for _, s := range samples {
		for i, v := range [4]float64{s.TS, s.B.X, s.B.Y, s.B.Z} {
			binary.LittleEndian.PutUint64(b[8*i:], math.Float64bits(v))
		}
		h.Write(b[:])
	}
	return hex.EncodeToString(h.Sum(nil))
}

// ErrNotAccepted reports that a calibration was refused and is not stored.
var ErrNotAccepted = errors.New("the calibration was not accepted")

// Save writes the calibration into the craft folder dir under the next free
// number, atomically, and returns it with its ID. It holds the folder's lock
// while it writes. A calibration that was not accepted is not stored: the error
// wraps ErrNotAccepted.
func (c Calibration) Save(dir string) (stored Calibration, path string, err error) {
	if !c.Accepted {
		return c, "", fmt.Errorf("%w: %s", ErrNotAccepted, c.Why)
	}
	lock, err := LockFolder(dir, c.Created)
	if err != nil {
		return c, "", err
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	n, err := nextCalibration(dir)
	if err != nil {
		return c, "", err
	}
	c.ID = fmt.Sprintf("%04d", n)
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(c); err != nil {
		return c, "", fmt.Errorf("calibration %s: %w", c.ID, err)
	}
	path = filepath.Join(dir, CalibrationFolder, c.ID+".json")
	return c, path, disk.Create(path, b.Bytes())
}

// CalibrationIDs returns the IDs of the stored calibrations of the craft folder
// dir: numbers in rising order, then names given by other tools. A folder
// without calibrations is no error.
func CalibrationIDs(dir string) ([]string, error) {
	entries, err := os.ReadDir(filepath.Join(dir, CalibrationFolder))
	if os.IsNotExist(err) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list the calibrations: %w", err)
	}
	var ids []string
	for _, e := range entries {
		if id, ok := strings.CutSuffix(e.Name(), ".json"); ok && !e.IsDir() && calibrationID.MatchString(id) {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, compareIDs)
	return ids, nil
}

// compareIDs puts 9999 before 10000, and both before a name.
func compareIDs(a, b string) int {
	m, aerr := strconv.ParseUint(a, 10, 64)
	n, berr := strconv.ParseUint(b, 10, 64)
	switch {
	case aerr == nil && berr == nil:
		return cmp.Or(cmp.Compare(m, n), cmp.Compare(a, b))
	case aerr == nil:
		return -1
	case berr == nil:
		return 1
	}
	return cmp.Compare(a, b)
}

func nextCalibration(dir string) (int, error) {
	ids, err := CalibrationIDs(dir)
	next := 1
	for _, id := range ids {
		if n, err := strconv.Atoi(id); err == nil && n < 1e9 {
			next = max(next, n+1)
		}
	}
	return next, err
}

// NewestCalibration returns the stored calibration of a probe that was created
// last, among those on the finished craft if onCraft is set, else among those
// of the probe by itself; nil if there is none. One without a time of creation
// counts as the oldest; of two created at the same time it returns the later in
// the order of CalibrationIDs. An unreadable file is an error, because it could
// be the newest.
func NewestCalibration(dir, probe string, onCraft bool) (*Calibration, error) {
	ids, err := CalibrationIDs(dir)
	if err != nil {
		return nil, err
	}
	var newest *Calibration
	for _, id := range ids {
		c, err := LoadCalibration(dir, id)
		if err != nil {
			return nil, err
		}
		if c.Probe == probe && c.OnCraft == onCraft && (newest == nil || !c.Created.Before(newest.Created)) {
			newest = c
		}
	}
	return newest, nil
}

// LoadCalibration reads the whole stored calibration id of the craft folder
// dir. Its errors are those of LoadCorrection.
func LoadCalibration(dir, id string) (*Calibration, error) {
	if _, err := LoadCorrection(dir, id); err != nil {
		return nil, err
	}
	name := filepath.Join(dir, CalibrationFolder, id+".json")
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	var c Calibration
	if err := json.Unmarshal(data, &c); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	c.ID = id
	return &c, nil
}
