package logbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/survey/disk"
)

// ChoiceFile is the file of a craft folder that holds the chosen spot.
const ChoiceFile = "choice.json"

// choiceFormat is the format number of a stored choice.
const choiceFormat = 1

// ErrNoChoice reports that no spot was chosen in a folder.
var ErrNoChoice = errors.New("no spot is chosen")

// Choice is the stored form of the spot that the builder chose, with the
// evidence for it; later commands refer to it.
type Choice struct {
	Format      int         `json:"format"`
	Chosen      time.Time   `json:"chosen"` // with zone
	Tool        string      `json:"tool"`   // version
	ByHand      bool        `json:"by_hand"`
	Craft       string      `json:"craft"`
	CraftSHA256 string      `json:"craft_sha256"`
	Date        string      `json:"date"` // of the reference field
	BudgetDeg   float64     `json:"budget_deg"`
	SteadyUT    float64     `json:"steady_limit_ut"`
	Spot        ChosenSpot  `json:"spot"`
	Obstacles   []string    `json:"obstacles"` // constraints that the place breaks
	Runs        []ChoiceRun `json:"runs"`      // the runs that the ranking used
	Cautions    []string    `json:"cautions"`
}

// ChosenSpot is a chosen spot with the numbers of the ranking. Unknown numbers
// are null.
type ChosenSpot struct {
	Rank                 int                `json:"rank"` // 0: placed by hand
	XMM                  float64            `json:"x_mm"`
	YMM                  float64            `json:"y_mm"`
	ZMM                  float64            `json:"z_mm"` // of the surface under the foot
	HeightMM             float64            `json:"height_mm"`
	NearestStation       string             `json:"nearest_station"`
	ShiftingDeg          *heading.Quantiles `json:"shifting_heading_error_deg"`
	SteadyDeg            *heading.Quantiles `json:"steady_heading_error_deg"`
	SteadyUT             *heading.Quantiles `json:"steady_ut"`
	PlacementToleranceMM *float64           `json:"placement_tolerance_mm"`
	NotToldFromBest      bool               `json:"not_told_from_best"`
	CableMM              *float64           `json:"cable_mm"`
	CGXMM                *float64           `json:"cg_x_mm"`
	CGYMM                *float64           `json:"cg_y_mm"`
	ExtrapolationFactor  float64            `json:"extrapolation_factor"`
	WorstCombination     []string           `json:"worst_combination"`
	WorstReversed        []string           `json:"worst_combination_reversed,omitempty"` // the loads of it whose current is reversed
	Interpolated         bool               `json:"interpolated"`
	WithinBudget         bool               `json:"within_budget"`
	WithinSteady         bool               `json:"within_steady_limit"`
}

// ChoiceRun is a run that a choice rests on.
type ChoiceRun struct {
	Run    int    `json:"run"`
	State  string `json:"state"`
	File   string `json:"file"` // in the craft folder, slashes
	SHA256 string `json:"sha256"`
}

// At returns the surface point under the middle of the module's foot, craft
// frame, mm.
func (c *Choice) At() r3.Vec { return r3.Vec{X: c.Spot.XMM, Y: c.Spot.YMM, Z: c.Spot.ZMM} }

// SaveChoice writes the choice of a craft folder and replaces an earlier one,
// atomically.
func SaveChoice(dir string, c *Choice) error {
	c.Format = choiceFormat
	if err := c.check(); err != nil {
		return fmt.Errorf("%s: %w", ChoiceFile, err)
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(c); err != nil {
		return fmt.Errorf("%s: %w", ChoiceFile, err)
	}
	name := filepath.Join(dir, ChoiceFile)
	return disk.Write(name, b.Bytes())
}

// LoadChoice reads the choice of a craft folder. The error wraps ErrNoChoice if
// there is none. Unknown keys are ignored; a newer format is an error.
func LoadChoice(dir string) (*Choice, error) {
	name := filepath.Join(dir, ChoiceFile)
	f, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: %w", dir, ErrNoChoice)
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	c, err := ReadChoice(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return c, nil
}

// mostChoiceBytes bounds what is read of a choice.
const mostChoiceBytes = 1 << 20

// Chosen returns the choice of a craft folder; nil if there is none.
func Chosen(dir string) (*Choice, error) {
	choice, err := LoadChoice(dir)
	if errors.Is(err, ErrNoChoice) {
		return nil, nil
	}
	return choice, err
}

// ReadChoice reads a stored choice: one JSON object whose place is finite.
func ReadChoice(r io.Reader) (*Choice, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostChoiceBytes+1))
	if err != nil {
		return nil, err
	}
	if len(data) > mostChoiceBytes {
		return nil, errors.New("too large for a choice")
	}
	c := new(Choice)
	if err := json.Unmarshal(data, c); err != nil {
		return nil, err
	}
	return c, c.check()
}

func (c *Choice) check() error {
	switch s := c.Spot; {
	case c.Format > choiceFormat:
		return fmt.Errorf("format %d is newer than this program reads: update it", c.Format)
	case c.Format < 1:
		return errors.New("it has no format number: it is no stored choice")
	case math.Abs(s.XMM) > 1e6 || math.Abs(s.YMM) > 1e6 || math.Abs(s.ZMM) > 1e6 || math.Abs(s.HeightMM) > 1e6:
		return errors.New("its place is a kilometre or more away")
	case math.IsNaN(s.XMM + s.YMM + s.ZMM + s.HeightMM):
		return errors.New("its place is not finite")
	}
	return nil
}
