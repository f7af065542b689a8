package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"quietmount/survey/disk"
	"quietmount/survey/number"
)

// SwingFolder holds the swings and the arrow checks of a craft folder.
const SwingFolder = "swing"

// What a file of the swing folder holds.
const (
	SwingHeadings = "swing" // captures named by headings
	SwingArrow    = "arrow" // captures named by poses
)

// The references of a swing.
const (
	ReferenceMarks = "marks" // of a turntable
	ReferenceLine  = "line"  // a surveyed line
	ReferenceSun   = "sun"
)

// SwingHeader opens a file of the swing folder: that of a run, and what a
// swing needs besides. State is unpowered, or the load that is on.
type SwingHeader struct {
	Header
	What        string   // SwingHeadings or SwingArrow
	Reference   string   // ReferenceMarks and so on
	ZeroDeg     float64  // magnetic direction of mark 0, or of what the poses call north
	ZeroSUDeg   float64  // its standard uncertainty
	Relative    bool     // the direction of mark 0 is not known
	HeadingSU   float64  // standard uncertainty of one heading or pose, degrees
	Calibrated  bool     // the readings need no offset: corrected by the calibration, or by the module itself
	ReferenceIn string   // in words: where the direction of mark 0 comes from
	Spot        *Mounted // where the module is mounted; nil: no spot was chosen
}

// Mounted is where the module stood: the chosen spot of that time.
type Mounted struct {
	XMM      float64 `json:"x_mm"`
	YMM      float64 `json:"y_mm"`
	ZMM      float64 `json:"z_mm"` // of the surface under its foot
	HeightMM float64 `json:"height_mm"`
}

// Mounted is the place of the choice, for what is measured there.
func (c *Choice) Mounted() *Mounted {
	return &Mounted{c.Spot.XMM, c.Spot.YMM, c.Spot.ZMM, c.Spot.HeightMM}
}

// SwingFile is a file of the swing folder read back.
type SwingFile struct {
	*Run
	Swing SwingHeader
}

type wireSwingHeader struct {
	wireHeader
	What        string  `json:"what"`
	Reference   string  `json:"reference,omitempty"`
	ZeroDeg     float64 `json:"zero_deg"`
	ZeroSUDeg   float64 `json:"zero_standard_uncertainty_deg"`
	Relative    bool    `json:"relative,omitempty"`
	HeadingSU   float64 `json:"heading_standard_uncertainty_deg"`
	Calibrated  bool    `json:"calibrated"`
	ReferenceIn string  `json:"reference_from,omitempty"`

	Spot *Mounted `json:"spot,omitempty"`
}

var swingNamePattern = regexp.MustCompile(`^([0-9]{4,9})\.jsonl$`)

// CreateSwing locks the craft folder dir and begins a file in its swing
// folder, numbered after those there. Like a run it is append-only, each line
// synced before Append returns; the header is on the disk when CreateSwing
// returns. Close gives the lock back.
func CreateSwing(dir string, h SwingHeader) (*RunWriter, error) {
	if h.What != SwingHeadings && h.What != SwingArrow {
		return nil, fmt.Errorf("a file of the swing folder holds %s or %s, not %q", SwingHeadings, SwingArrow, h.What)
	}
	lock, err := LockFolder(dir, h.Started)
	if err != nil {
		return nil, err
	}
	w, err := lock.createSwing(h)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	w.ownLock = true
	return w, nil
}

func (l *Lock) createSwing(h SwingHeader) (*RunWriter, error) {
	names, err := swingFiles(l.dir)
	if err != nil {
		return nil, err
	}
	h.Run = 1
	if len(names) > 0 {
		last, _ := SwingNumber(names[len(names)-1])
		h.Run = last + 1
	}
	line, err := encodeSwingHeader(h)
	if err != nil {
		return nil, err
	}
	path, err := disk.CreateWholeIn(l.dir, SwingFolder, fmt.Sprintf("%04d.jsonl", h.Run), line)
	if err != nil {
		return nil, err
	}
	f, size, err := openAppend(path)
	if err != nil {
		return nil, err
	}
	return &RunWriter{Path: path, header: h.Header, f: f, size: size, numbers: map[int]bool{}, next: 1, lock: l}, nil
}

func encodeSwingHeader(h SwingHeader) ([]byte, error) {
	if !number.Finite(h.ZeroDeg, h.ZeroSUDeg, h.HeadingSU) {
		return nil, errors.New("the header of a swing wants finite numbers")
	}
	plain, err := encodeHeader(h.Header)
	if err != nil {
		return nil, err
	}
	w := wireSwingHeader{
		What: h.What, Reference: h.Reference, ZeroDeg: h.ZeroDeg, ZeroSUDeg: h.ZeroSUDeg,
		Relative: h.Relative, HeadingSU: h.HeadingSU, Calibrated: h.Calibrated, ReferenceIn: h.ReferenceIn, Spot: h.Spot,
	}
	if err := json.Unmarshal(plain, &w.wireHeader); err != nil {
		return nil, err
	}
	return RunLine(w)
}

// LoadSwings reads every file of the swing folder in the order of their
// numbers. A folder that is not there holds none. Damage is an error that
// names file and line; a torn last line is a warning of its file.
func LoadSwings(dir string) ([]*SwingFile, error) {
	names, err := swingFiles(dir)
	if err != nil {
		return nil, err
	}
	var out []*SwingFile
	var errs []error
	for _, name := range names {
		s, err := LoadSwing(filepath.Join(dir, SwingFolder, name))
		if err != nil {
			errs = append(errs, err)
			continue
		}
		out = append(out, s)
	}
	return out, errors.Join(errs...)
}

// LoadSwing reads one file of a swing folder; its number is that of its name.
func LoadSwing(path string) (*SwingFile, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	s, err := ReadSwing(f, path)
	if err != nil {
		return nil, err
	}
	s.Header.Run, _ = SwingNumber(filepath.Base(path))
	s.Swing.Header = s.Header
	return s, nil
}

// ReadSwing reads a file of the swing folder, as ReadRun reads a run.
func ReadSwing(r io.Reader, name string) (*SwingFile, error) {
	var first headLine
	run, err := ReadRun(io.TeeReader(r, &first), name)
	if err != nil {
		return nil, err
	}
	var w wireSwingHeader
	if err := json.Unmarshal(first.line, &w); err != nil {
		return nil, &RunError{File: name, Line: 1, Err: err}
	}
	if w.What != SwingHeadings && w.What != SwingArrow {
		return nil, &RunError{File: name, Line: 1, Err: fmt.Errorf("the header says that this is %q, neither a swing nor an arrow check", w.What)}
	}
	return &SwingFile{Run: run, Swing: SwingHeader{
		Header: run.Header, What: w.What, Reference: w.Reference, ZeroDeg: w.ZeroDeg, ZeroSUDeg: w.ZeroSUDeg,
		Relative: w.Relative, HeadingSU: w.HeadingSU, Calibrated: w.Calibrated, ReferenceIn: w.ReferenceIn, Spot: w.Spot,
	}}, nil
}

// headLine keeps the first line that is not blank.
type headLine struct {
	line []byte
	done bool
}

func (h *headLine) Write(p []byte) (int, error) {
	for _, c := range p {
		if h.done {
			break
		}
		if c != '\n' {
			h.line = append(h.line, c)
			continue
		}
		h.line = []byte(strings.TrimPrefix(strings.TrimSpace(string(h.line)), "\ufeff"))
		h.done = len(h.line) > 0
	}
	return len(p), nil
}

// swingFiles are the names in dir/swing that name a swing, sorted.
func swingFiles(dir string) ([]string, error) {
	entries, err := os.ReadDir(filepath.Join(dir, SwingFolder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list the swings: %w", err)
	}
	var names []string
	for _, e := range entries {
		if _, ok := SwingNumber(e.Name()); ok && !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		x, _ := SwingNumber(a)
		y, _ := SwingNumber(b)
		return x - y
	})
	return names, nil
}

func SwingNumber(name string) (int, bool) {
	m := swingNamePattern.FindStringSubmatch(name)
	if m == nil {
		return 0, false
	}
	n, err := strconv.Atoi(m[1])
	return n, err == nil && n > 0
}
