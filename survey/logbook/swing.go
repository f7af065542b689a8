package logbook

import (
	"context"
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
	"time"

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

// SwingHeader is the first line of a file of the swing folder: the header of a
// run with the reference and the spot of a swing. State is unpowered, or the
// load that is on.
type SwingHeader struct {
	Header
	What          string   `json:"what"`                // SwingHeadings or SwingArrow
	Reference     string   `json:"reference,omitempty"` // ReferenceMarks and so on
	ZeroDeg       float64  `json:"zero_deg"`            // magnetic direction of mark 0, or of what the poses call north
	ZeroSUDeg     float64  `json:"zero_standard_uncertainty_deg"`
	Relative      bool     `json:"relative,omitempty"`               // the direction of mark 0 is not known
	HeadingSU     float64  `json:"heading_standard_uncertainty_deg"` // of one heading or pose
	Calibrated    bool     `json:"calibrated"`                       // the readings need no offset: corrected by the calibration, or by the module itself
	ReferenceFrom string   `json:"reference_from,omitempty"`         // in words: where the direction of mark 0 comes from
	Spot          *Mounted `json:"spot,omitempty"`                   // where the module is mounted; nil: no spot was chosen
}

// Mounted is where the module stood: the chosen spot of that time.
type Mounted struct {
	XMM      float64 `json:"x_mm"`
	YMM      float64 `json:"y_mm"`
	ZMM      float64 `json:"z_mm"` // of the surface under its foot
	HeightMM float64 `json:"height_mm"`
}

// Mounted returns the place of the choice, for the header of a swing or an
// arrow check.
func (c *Choice) Mounted() *Mounted {
	return &Mounted{c.Spot.XMM, c.Spot.YMM, c.Spot.ZMM, c.Spot.HeightMM}
}

// SwingFile is a file of the swing folder read back.
type SwingFile struct {
	*Run
	Swing SwingHeader
}

// swingLine is the first line of a file of the swing folder.
type swingLine struct {
	Kind   string `json:"kind"`
	Format int    `json:"format"`
	SwingHeader
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
	return locked(dir, h.Started, func(l *Lock) (*RunWriter, error) {
		names, err := swingFiles(dir)
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
		return l.begin(filepath.Join(dir, SwingFolder, fmt.Sprintf("%04d.jsonl", h.Run)), h.Header, line)
	})
}

func encodeSwingHeader(h SwingHeader) ([]byte, error) {
	if !number.Finite(h.ZeroDeg, h.ZeroSUDeg, h.HeadingSU) {
		return nil, errors.New("the header of a swing wants finite numbers")
	}
	return runLine(swingLine{lineHeader, runFormat, h})
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
	var w swingLine
	if err := json.Unmarshal(first.line, &w); err != nil {
		return nil, &RunError{File: name, Line: 1, Err: err}
	}
	if w.What != SwingHeadings && w.What != SwingArrow {
		return nil, &RunError{File: name, Line: 1, Err: fmt.Errorf("the header says that this is %q, neither a swing nor an arrow check", w.What)}
	}
	w.Header = run.Header
	return &SwingFile{Run: run, Swing: w.SwingHeader}, nil
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

// ResumeSwing locks the craft folder dir and opens a file of its swing folder
// to append to it: the latest of the kind what (SwingHeadings or SwingArrow)
// without an end note; if all have one, the latest. It returns the writer and
// the file as read, and treats the file as ResumeRun does.
func ResumeSwing(dir, what string, now time.Time) (w *RunWriter, file *SwingFile, err error) {
	w, err = locked(dir, now, func(l *Lock) (*RunWriter, error) {
		if file, err = UnfinishedSwing(dir, what); err != nil {
			return nil, err
		}
		s, err := readFile(context.Background(), file.File)
		if err != nil {
			return nil, err
		}
		return l.goOn(s, now)
	})
	return w, file, err
}

// UnfinishedSwing returns the file that ResumeSwing would open; its error wraps
// ErrNoRun if there is none. It skips damaged files.
func UnfinishedSwing(dir, what string) (*SwingFile, error) {
	names, err := swingFiles(dir)
	if err != nil {
		return nil, err
	}
	var fit []*SwingFile
	for _, name := range names {
		f, err := LoadSwing(filepath.Join(dir, SwingFolder, name))
		if err == nil && f.Swing.What == what {
			fit = append(fit, f)
		}
	}
	if len(fit) > 0 {
		return unfinished(fit, func(f *SwingFile) *Run { return f.Run }), nil
	}
	return nil, fmt.Errorf("%w: %s holds no %s yet; start one without resuming", ErrNoRun, dir, swingWords(what))
}

func swingWords(what string) string {
	if what == SwingArrow {
		return "arrow check"
	}
	return "swing"
}
